//! The form of a record: what it offers for a part, and what was filled in.

use jiff::civil::DateTime;
use maud::{Markup, html};

use super::work::fault;
use crate::advice::place_title;
use crate::desk::people::Fields;
use crate::desk::problem::Problem;
use crate::desk::units::Units;
use crate::desk::words;
use crate::model::{
    Basin, EventTime, LevelReading, LevelUnit, Obstruction, ObstructionKind, ServiceRecord, Subject, System,
    Work,
};

/// What a form is drawn for.
#[derive(Clone, Copy, Debug)]
pub(in crate::desk) struct Asked<'a> {
    /// The system.
    pub(in crate::desk) system: &'a System,
    /// The part.
    pub(in crate::desk) subject: &'a Subject,
    /// Now, to be offered as the time of the work.
    pub(in crate::desk) now: EventTime,
    /// What people write depths in.
    pub(in crate::desk) units: Units,
    /// What it says already.
    pub(in crate::desk) record: Option<&'a ServiceRecord>,
    /// Work that is ticked in a form that says nothing yet.
    pub(in crate::desk) ticked: &'static [Work],
    /// Tells this form's labels from those of others on the page.
    pub(in crate::desk) mark: &'a str,
}

/// The fields of a record about `asked.subject`; the form around them, its key and its button are the caller's.
pub(in crate::desk) fn form(asked: &Asked<'_>) -> Markup {
    let Asked { system, subject, units, record, ticked, mark, now } = *asked;
    let is_basin = matches!(subject, Subject::Basin(_));
    let at = record.map_or(now, |record| record.at);
    let designed = |depth: &dyn Fn(&Basin) -> f64| match subject {
        Subject::Basin(id) => system.find_basin(id.as_str()).map(|ix| depth(system.basin(ix))),
        Subject::Splitter(_) | Subject::Sensor(_) | Subject::Source | Subject::Diverter => None,
    };
    html! {
        input type="hidden" name="subject" value=(subject.key());
        input type="hidden" name="units" value=(units.name());
        div class="field" {
            label for={ (mark) "-at" } { "Finished (" (zone_words(system)) ")" }
            input id={ (mark) "-at" } type="datetime-local" name="at" value=(local(at, system)) data-now[record.is_none()] data-zone=[system.zone.iana_name()];
        }
        fieldset {
            legend { "Done" }
            @for work in Work::ALL.into_iter().filter(|work| work.fits(subject, system)) {
                label class="choice" {
                    input type="checkbox" name="work" value=(work.name()) checked[record.map_or(ticked, |record| &record.work).contains(&work)];
                    (words::capitalised(&work.words()))
                }
            }
            p class="hint" { "Tick nothing if you only looked." }
        }
        @if is_basin {
            div class="pair" {
                (depth(asked, "air_gap", "Air gap found", (record.and_then(|record| record.air_gap_mm), designed(&|basin| basin.air_gap_mm))))
                (depth(asked, "mulch_found", "Mulch found", (record.and_then(|record| record.mulch_found_mm), None)))
                (depth(asked, "mulch_left", "Mulch afterwards", (record.and_then(|record| record.mulch_left_mm), designed(&|basin| basin.mulch.depth_mm))))
            }
        }
        @if matches!(subject, Subject::Splitter(_)) { (level(asked)) }
        // Water is held back where it runs, not in a sensor.
        @if !matches!(subject, Subject::Sensor(_)) { (obstruction(asked)) }
        div class="field" {
            label for={ (mark) "-note" } { "Anything else" }
            textarea id={ (mark) "-note" } name="note" rows="3" maxlength="2000" { (record.map_or("", |record| &record.note)) }
        }
    }
}

fn zone_words(system: &System) -> String {
    system.zone.iana_name().unwrap_or("UTC").replace('_', " ")
}

/// A field for a depth, and what it is by design where that tells a slip of the pen.
fn depth(asked: &Asked<'_>, name: &str, label: &str, (mm, designed): (Option<f64>, Option<f64>)) -> Markup {
    let id = format!("{}-{name}", asked.mark);
    let units = asked.units;
    let number = |mm: f64| match units {
        Units::Metric => format!("{mm:.0}"),
        Units::Us => format!("{:.2}", units.depth_in(mm)),
    };
    let value = mm.map(number);
    let step = if units == Units::Metric { "1" } else { "0.25" };
    html! {
        div class="field" {
            label for=(id) { (label) " (" (units.depth_unit()) ")" }
            input id=(id) type="number" inputmode="decimal" min="0" step=(step) name=(name) value=[value] data-design=[designed.map(number)] data-unit=(units.depth_unit());
        }
    }
}

fn level(asked: &Asked<'_>) -> Markup {
    let mark = asked.mark;
    let level = asked.record.and_then(|record| record.level);
    let unit = level.map_or(LevelUnit::BubbleMarks, |level| level.unit);
    let reading = |name: &str, label: &str, value: Option<f64>| {
        let id = format!("{mark}-{name}");
        html! {
            div class="field" {
                label for=(id) { (label) }
                input id=(id) type="number" inputmode="text" step="any" name=(name) value=[value];
            }
        }
    };
    html! {
        fieldset {
            legend { "Spirit level across the splitter" }
            div class="pair" {
                (reading("level_found", "Found", level.and_then(|level| level.found)))
                (reading("level_left", "Afterwards", level.and_then(|level| level.left)))
                div class="field" {
                    label for={ (mark) "-level-unit" } { "In" }
                    select id={ (mark) "-level-unit" } name="level_unit" {
                        @for (choice, words) in [(LevelUnit::BubbleMarks, "marks of the bubble"), (LevelUnit::Degrees, "degrees")] {
                            option value=(choice.name()) selected[unit == choice] { (words) }
                        }
                    }
                }
            }
            p class="hint" { "Above zero where side a lies low and gets more water; below zero for side b." }
        }
    }
}

fn obstruction(asked: &Asked<'_>) -> Markup {
    let mark = asked.mark;
    let found = asked.record.and_then(|record| record.obstruction.as_ref());
    html! {
        div class="pair" {
            div class="field" {
                label for={ (mark) "-obstruction" } { "What held the water back" }
                select id={ (mark) "-obstruction" } name="obstruction" {
                    option value="" { "nothing" }
                    @for kind in ObstructionKind::ALL {
                        option value=(kind.name()) selected[found.is_some_and(|found| found.kind == kind)] { (obstruction_words(kind)) }
                    }
                }
            }
            div class="field" {
                label for={ (mark) "-obstruction-words" } { "More about it" }
                input id={ (mark) "-obstruction-words" } name="obstruction_words" maxlength="200" autocomplete="off" value=[found.map(|found| &found.words)];
            }
        }
    }
}

/// The kind for people.
pub(super) const fn obstruction_words(kind: ObstructionKind) -> &'static str {
    match kind {
        ObstructionKind::Roots => "roots",
        ObstructionKind::Lint => "hair and lint",
        ObstructionKind::Grease => "grease and soap",
        ObstructionKind::Silt => "silt or sand",
        ObstructionKind::Mulch => "mulch against the outlet",
        ObstructionKind::Animal => "a nest, or what an animal brought",
        ObstructionKind::Pipe => "a crushed or sagging pipe",
        ObstructionKind::Other => "something else",
    }
}

/// What people read of a part that a form is about.
pub(super) fn title(system: &System, subject: &Subject) -> String {
    place_title(system, subject)
}

/// As the browser writes a time without a zone.
pub(super) fn local(at: EventTime, system: &System) -> String {
    at.timestamp().to_zoned_datetime(system.zone.clone()).strftime("%Y-%m-%dT%H:%M").to_string()
}

/// The subject with that [key](Subject::key), if the system has it.
pub(super) fn subject(key: &str, system: &System) -> Option<Subject> {
    let subjects = system
        .basins
        .iter()
        .map(|basin| Subject::Basin(basin.id.clone()))
        .chain(system.splitters.iter().map(|splitter| Subject::Splitter(splitter.id.clone())))
        .chain([Subject::Source, Subject::Diverter])
        .chain(system.sensor_ixs().map(|ix| Subject::Sensor(system.sensor_name(ix))));
    let mut subjects = subjects;
    subjects.find(|subject| subject.key() == key)
}

/// What was filled in.
pub(super) fn read(fields: &Fields, system: &System, now: EventTime) -> Result<ServiceRecord, Problem> {
    let subject = subject(fields.get("subject"), system)
        .ok_or_else(|| fault("subject", "the system has no such part any more: load the page again"))?;
    let units = Units::named(fields.get("units")).unwrap_or_default();
    let depth = |name: &str| Ok::<_, Problem>(number(fields, name)?.map(|depth| units.mm_of(depth)));
    let (found, left) = (number(fields, "level_found")?, number(fields, "level_left")?);
    let unit = LevelUnit::named(fields.get("level_unit")).unwrap_or(LevelUnit::BubbleMarks);
    let work = fields
        .all("work")
        .map(|name| Work::named(name).ok_or_else(|| fault("work", "there is no such work")));
    let obstruction = match fields.get("obstruction") {
        "" => None,
        name => {
            let kind = ObstructionKind::named(name);
            let kind = kind.ok_or_else(|| fault("obstruction", "there is no such obstruction"))?;
            Some(Obstruction { kind, words: fields.get("obstruction_words").trim().to_owned() })
        }
    };
    Ok(ServiceRecord {
        subject,
        at: time(fields.get("at"), system, now)?,
        work: work.collect::<Result<_, _>>()?,
        air_gap_mm: depth("air_gap")?,
        mulch_found_mm: depth("mulch_found")?,
        mulch_left_mm: depth("mulch_left")?,
        obstruction,
        level: (found.is_some() || left.is_some()).then_some(LevelReading { unit, found, left }),
        note: fields.get("note").trim().to_owned(),
    })
}

fn number(fields: &Fields, name: &str) -> Result<Option<f64>, Problem> {
    let text = fields.get(name).trim();
    if text.is_empty() {
        return Ok(None);
    }
    let number: Option<f64> = text.replace(',', ".").parse().ok().filter(|number: &f64| number.is_finite());
    number.map(Some).ok_or_else(|| {
        fault(name, &format!("`{}` is not a number", text.chars().take(20).collect::<String>()))
    })
}

/// A time on the yard's clock, or one with its offset (RFC 3339); now without one.
fn time(text: &str, system: &System, now: EventTime) -> Result<EventTime, Problem> {
    if text.is_empty() {
        return Ok(now);
    }
    if let Ok(at) = text.parse() {
        return Ok(at);
    }
    let there = text.parse::<DateTime>().ok().and_then(|at| system.zone.to_timestamp(at).ok());
    let at = there.ok_or_else(|| fault("at", "this is not a time such as 2026-03-01T14:05"))?;
    Ok(EventTime::from_millis(at.as_millisecond()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::desk::samples;
    use crate::model::Id;

    fn at(text: &str) -> EventTime {
        text.parse().unwrap()
    }

    #[test]
    fn what_was_filled_in_is_read_in_the_yards_time_and_the_writers_units() {
        let body = b"subject=basin%3Aquince&units=us&at=2026-03-01T14%3A05&work=outlet-cleared&work=mulch-renewed\
                     &air_gap=2&mulch_found=&mulch_left=8%2C5&obstruction=roots&obstruction_words=+fig+&note=+ok+";
        let now = at("2026-03-02T00:00:00Z");
        let record = read(&Fields::parse(body), &samples::terrace(), now).unwrap();
        assert_eq!(record.subject, Subject::Basin(Id::new("quince").unwrap()));
        assert_eq!(record.at, at("2026-03-01T21:05:00Z"));
        assert_eq!(record.work, [Work::OutletCleared, Work::MulchRenewed]);
        assert_eq!((record.air_gap_mm, record.mulch_found_mm), (Some(50.8), None));
        assert!((record.mulch_left_mm.unwrap() - 215.9).abs() < 1e-9);
        assert_eq!(record.obstruction.unwrap().words, "fig");
        assert_eq!(record.note, "ok");
    }

    #[test]
    fn what_cannot_be_read_is_named() {
        let now = at("2026-03-02T00:00:00Z");
        for (body, says) in [
            ("subject=basin:rose", "no such part"),
            ("subject=basin:quince&air_gap=wide", "`wide` is not a number"),
            ("subject=basin:quince&at=noon", "not a time"),
            ("subject=basin:quince&work=raked", "no such work"),
        ] {
            let problem = read(&Fields::parse(body.as_bytes()), &samples::terrace(), now).unwrap_err();
            assert!(problem.detail().contains(says), "{}", problem.detail());
        }
    }

    #[test]
    fn a_form_offers_what_fits_the_part() {
        let system = samples::terrace();
        let offers = |key: &str| {
            let subject = subject(key, &system).unwrap();
            let now = at("2026-03-02T00:00:00Z");
            let asked = Asked {
                system: &system,
                subject: &subject,
                now,
                units: Units::Metric,
                record: None,
                ticked: &[Work::MulchRenewed],
                mark: "f",
            };
            form(&asked).into_string()
        };
        let basin = offers("basin:quince");
        assert!(
            basin.contains("outlet-cleared")
                && basin.contains("Mulch found")
                && !basin.contains("splitter-levelled")
        );
        assert_eq!(basin.matches(" checked").count(), 1, "what the task is for: {basin}");
        let splitter = offers("splitter:s1");
        assert!(
            splitter.contains("splitter-levelled")
                && splitter.contains("Spirit level")
                && !splitter.contains("Mulch afterwards")
        );
    }
}
