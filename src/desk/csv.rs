//! Tables for other programs (RFC 4180): comma between fields, CR LF after lines, quotes where needed.

use std::borrow::Cow;
use std::fmt::Write;

use jiff::tz::TimeZone;

use super::sheet::{ReceivedTime, TimeTable};
use crate::model::{EventTime, System};

/// A timeline: one line a step, times in `zone` with their offset (RFC 3339), metric units, which the column
/// names state.
pub(super) fn timeline(table: &TimeTable, zone: &TimeZone) -> String {
    let mut text = header(table);
    for row in &table.rows {
        text.push_str(&time(row.from, zone));
        text.push(',');
        text.push_str(&time(row.to, zone));
        for cell in &row.basins {
            let (low, mean, high) = cell.moisture.map_or((None, None, None), |(low, mean, high)| {
                (Some(low * 100.0), Some(mean * 100.0), Some(high * 100.0))
            });
            for percent in [low, mean, high] {
                number(&mut text, percent, 2);
            }
            number(&mut text, cell.received_l, 1);
            number(&mut text, Some(cell.standing.mins_f64()), 1);
        }
        write!(text, ",{}", row.doses).expect("writing to a string cannot fail");
        number(&mut text, row.litres, 1);
        if table.has_rain {
            number(&mut text, row.rain_mm, 2);
        }
        text.push_str("\r\n");
    }
    text
}

fn header(table: &TimeTable) -> String {
    let mut names = vec!["from".to_owned(), "to".to_owned()];
    for (id, _) in &table.basins {
        for what in [
            "moisture lowest (%)",
            "moisture mean (%)",
            "moisture highest (%)",
            "received (L)",
            "stood (min)",
        ] {
            names.push(format!("{id} {what}"));
        }
    }
    names.extend(["doses".to_owned(), "received (L)".to_owned()]);
    if table.has_rain {
        names.push("rain (mm)".to_owned());
    }
    line(&names)
}

/// What each basin received, a line a basin and month; times in the system's zone with their offset.
pub(super) fn received(system: &System, months: &[ReceivedTime]) -> String {
    let mut text = line(&[
        "from",
        "to",
        "basin",
        "received (L)",
        "share",
        "share by design",
        "doses",
        "doses not measured",
        "doses in the figures",
        "silent from",
        "silent to",
        "litres by",
    ]);
    for month in months {
        for (ix, received) in system.basin_ixs().zip(&month.basins) {
            text.push_str(&time(month.from, &system.zone));
            text.push(',');
            text.push_str(&time(month.to, &system.zone));
            text.push(',');
            text.push_str(&field(system.basin(ix).id.as_str()));
            number(&mut text, received.litres, 1);
            number(&mut text, received.share, 4);
            number(&mut text, Some(system.tree().design_share(ix)), 4);
            write!(text, ",{},{},{}", month.doses, month.unmeasured, received.doses)
                .expect("writing to a string cannot fail");
            let (from, to) = received.silent.unzip();
            for at in [from, to] {
                text.push(',');
                text.extend(at.map(|at| time(at, &system.zone)));
            }
            text.push_str(if month.estimated { ",people" } else { ",meter" });
            text.push_str("\r\n");
        }
    }
    text
}

/// A line of these fields.
pub(super) fn line(fields: &[impl AsRef<str>]) -> String {
    let fields: Vec<Cow<'_, str>> = fields.iter().map(|text| field(text.as_ref())).collect();
    fields.join(",") + "\r\n"
}

/// A time in `zone` with its offset (RFC 3339).
pub(super) fn time(at: EventTime, zone: &TimeZone) -> String {
    at.timestamp().to_zoned_datetime(zone.clone()).strftime("%Y-%m-%dT%H:%M:%S%:z").to_string()
}

/// A comma and the number, or nothing where it is not known.
fn number(text: &mut String, number: Option<f64>, digits: usize) {
    text.push(',');
    if let Some(number) = number {
        write!(text, "{number:.digits$}").expect("writing to a string cannot fail");
    }
}

/// A text as a field. What a spreadsheet would take for a formula gets an apostrophe before it.
fn field(text: &str) -> Cow<'_, str> {
    let is_formula = text.starts_with(['=', '+', '-', '@', '\t', '\r']);
    let text: Cow<'_, str> = if is_formula { format!("'{text}").into() } else { text.into() };
    if text.contains([',', '"', '\r', '\n']) {
        format!("\"{}\"", text.replace('"', "\"\"")).into()
    } else {
        text
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// RFC 4180, section 2, rules 6 and 7.
    #[test]
    fn fields_are_quoted_as_the_standard_says() {
        assert_eq!(field("plain"), "plain");
        assert_eq!(field("b CRLF\r\nbb"), "\"b CRLF\r\nbb\"");
        assert_eq!(field("b\"bb"), "\"b\"\"bb\"");
        assert_eq!(field("=1+1"), "'=1+1");
    }
}
