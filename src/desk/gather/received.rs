//! What the basins received: last month, this month, and in 30 days.

use jiff::ZonedDateTime;

use super::balance;
use super::timeline::share_of;
use crate::desk::sheet::{BasinLine, Received, ReceivedSheet, ReceivedTime};
use crate::ledger::DoseRecord;
use crate::model::{BasinIx, EventTime, Span, System};

/// The last days that are summed up beside the months.
const LATELY: Span = Span::from_days(30);

/// From when doses are needed to tell of the last month and the last 30 days.
pub fn received_from(system: &System, now: EventTime) -> EventTime {
    month_before(system, now, 1).0.min(now - LATELY)
}

/// What every basin received; `doses` are those since [`received_from`], in order.
pub fn received(system: &System, doses: &[DoseRecord], now: EventTime) -> ReceivedSheet {
    let lately = ReceivedTime { words: "30 days".to_owned(), ..time(system, doses, now - LATELY, now) };
    let mut times = months(system, doses, now, 2);
    times.push(lately);
    let line = |ix: BasinIx| {
        let basin = system.basin(ix);
        let design = system.tree().design_share(ix);
        BasinLine { id: basin.id.to_string(), label: basin.label().to_owned(), design }
    };
    ReceivedSheet { basins: system.basin_ixs().map(line).collect(), times }
}

/// The newest `many` months of the calendar of the system's zone, oldest first, this one so far.
pub fn months(system: &System, doses: &[DoseRecord], now: EventTime, many: i32) -> Vec<ReceivedTime> {
    (0..many)
        .rev()
        .map(|back| {
            let (from, to, words) = month_before(system, now, back);
            let words = if back == 0 { format!("{words} so far") } else { words };
            ReceivedTime { words, ..time(system, doses, from, to.min(now)) }
        })
        .collect()
}

/// The month `back` months before that of `now`: from, to, and in words.
fn month_before(system: &System, now: EventTime, back: i32) -> (EventTime, EventTime, String) {
    let here = now.timestamp().to_zoned_datetime(system.zone.clone());
    let first = |at: ZonedDateTime| at.first_of_month().and_then(|first| first.start_of_day()).unwrap_or(at);
    let from = first(here.checked_sub(jiff::Span::new().months(back)).unwrap_or(here));
    let to = from.checked_add(jiff::Span::new().months(1)).unwrap_or_else(|_| from.clone());
    let instant = |at: &ZonedDateTime| EventTime::from_millis(at.timestamp().as_millisecond());
    (instant(&from), instant(&to), from.strftime("%B %Y").to_string())
}

fn time(system: &System, doses: &[DoseRecord], from: EventTime, to: EventTime) -> ReceivedTime {
    let begin = doses.partition_point(|dose| dose.at < from);
    let end = doses.partition_point(|dose| dose.at < to);
    let within = &doses[begin..end.max(begin)];
    ReceivedTime {
        words: String::new(),
        from,
        to,
        doses: within.len(),
        unmeasured: within.iter().filter(|dose| dose.litres.is_none()).count(),
        basins: system.basin_ixs().map(|ix| of_basin(system, ix, within)).collect(),
    }
}

/// Litres as measured, and the part of the water: by litres where they are known, else each dose alike.
fn of_basin(system: &System, ix: BasinIx, doses: &[DoseRecord]) -> Received {
    let id = &system.basin(ix).id;
    let told = doses.iter().filter_map(|dose| Some((dose.litres?, share_of(system, dose, id)?)));
    let (all, mine) =
        told.fold((0.0, 0.0), |(all, mine), (litres, share)| (all + litres, mine + litres * share));
    let measured = all > 0.0;
    Received {
        litres: measured.then_some(mine),
        share: if measured { Some(mine / all) } else { balance::received(system, ix, doses) },
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::desk::samples::{self, dose};

    fn at(text: &str) -> EventTime {
        text.parse().unwrap()
    }

    #[test]
    fn a_month_is_that_of_the_calendar_in_the_zone_of_the_yard() {
        let system = samples::terrace();
        let now = at("2026-11-20T18:00:00Z");
        // Denver: daylight saving time (UTC − 6) ended on 1 November 2026, by the US Energy Policy Act of 2005.
        let (from, to, words) = month_before(&system, now, 1);
        assert_eq!(
            (from, to, words.as_str()),
            (at("2026-10-01T06:00:00Z"), at("2026-11-01T06:00:00Z"), "October 2026")
        );
        assert_eq!(received_from(&system, now), from);
        assert_eq!(
            received_from(&system, at("2026-03-01T18:00:00Z")),
            at("2026-01-30T18:00:00Z"),
            "30 days reach further than February"
        );
    }

    #[test]
    fn litres_and_shares_are_those_of_the_time_and_what_was_not_measured_is_counted() {
        let system = samples::terrace();
        let doses = [
            dose(&system, "2026-10-01T05:59:00Z", Some(1000.0), &[1.0, 0.0, 0.0, 0.0]),
            dose(&system, "2026-10-10T08:00:00Z", Some(100.0), &[0.4, 0.1, 0.25, 0.25]),
            dose(&system, "2026-10-20T08:00:00Z", None, &[0.25, 0.25, 0.25, 0.25]),
            dose(&system, "2026-10-31T08:00:00Z", Some(300.0), &[0.2, 0.3, 0.25, 0.25]),
            dose(&system, "2026-11-02T08:00:00Z", Some(50.0), &[0.5, 0.0, 0.25, 0.25]),
        ];
        let sheet = received(&system, &doses, at("2026-11-20T18:00:00Z"));
        let [october, november, lately] = &sheet.times[..] else { panic!("{sheet:?}") };
        assert_eq!((october.words.as_str(), october.doses, october.unmeasured), ("October 2026", 3, 1));
        // 100 × 0.4 + 300 × 0.2 of 400.
        assert_eq!(october.basins[0], Received { litres: Some(100.0), share: Some(0.25) });
        assert_eq!(
            (november.words.as_str(), november.basins[0].litres),
            ("November 2026 so far", Some(25.0))
        );
        assert_eq!((lately.doses, lately.basins[0].litres), (2, Some(85.0)));
    }
}
