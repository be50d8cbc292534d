//! What the basins received: last month, this month, and in 30 days.

use jiff::ZonedDateTime;

use super::balance;
use super::timeline::share_of;
use crate::desk::sheet::{BasinLine, Received, ReceivedSheet, ReceivedTime};
use crate::desk::units::Units;
use crate::desk::words;
use crate::ledger::DoseRecord;
use crate::model::{BasinIx, EventTime, Id, Place, Quantity, Span, System};

/// So many doses in a row that a basin's sensors told nothing of are a silence; fewer are chance.
const IN_A_ROW: usize = 3;

/// The last days that are summed up beside the months.
const LATELY: Span = Span::from_days(30);

/// From when doses are needed to tell of the last month and the last 30 days.
pub fn received_from(system: &System, now: EventTime) -> EventTime {
    month_before(system, now, 1).0.min(now - LATELY)
}

/// What every basin received; `doses` are those since [`received_from`], in order.
pub fn received(system: &System, doses: &[DoseRecord], now: EventTime) -> ReceivedSheet {
    let lately =
        ReceivedTime { words: "30 days".to_owned(), ..time(system, doses, (now - LATELY, now), now) };
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
            ReceivedTime { words, ..time(system, doses, (from, to.min(now)), now) }
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

fn time(
    system: &System,
    doses: &[DoseRecord],
    (from, to): (EventTime, EventTime),
    now: EventTime,
) -> ReceivedTime {
    let begin = doses.partition_point(|dose| dose.at < from);
    let end = doses.partition_point(|dose| dose.at < to);
    let within = &doses[begin..end.max(begin)];
    let told = |ix| {
        let received = of_basin(system, ix, within);
        let when = |at| words::moment(at, now, &system.zone).words;
        let says = basis(system, ix, &received, within, when);
        Received { says, ..received }
    };
    ReceivedTime {
        words: String::new(),
        from,
        to,
        doses: within.len(),
        unmeasured: within.iter().filter(|dose| dose.litres.is_none()).count(),
        estimated: !system.source.is_metered(),
        basins: system.basin_ixs().map(told).collect(),
    }
}

/// Litres in words, `about` so many where no meter counts and they are reckoned.
pub(in crate::desk) fn volume_words(system: &System, litres: f64, units: Units) -> String {
    let is_estimate = !system.source.is_metered();
    let about = if is_estimate { "about " } else { "" };
    format!("{about}{}", units.volume_told(litres, is_estimate))
}

/// Litres as measured, and the part of the water: by litres where they are known, else each dose alike. Both are of
/// the same doses; `says` is left out.
pub(in crate::desk) fn of_basin(system: &System, ix: BasinIx, doses: &[DoseRecord]) -> Received {
    if !balance::measures(system) {
        return Received::default();
    }
    let id = &system.basin(ix).id;
    let told = doses.iter().filter_map(|dose| Some((dose.litres?, share_of(system, dose, id)?)));
    let (all, mine, count) = told.fold((0.0, 0.0, 0), |(all, mine, count), (litres, share)| {
        (all + litres, mine + litres * share, count + 1)
    });
    let silent = silent(id, doses);
    if all > 0.0 {
        return Received { litres: Some(mine), share: Some(mine / all), doses: count, silent, says: None };
    }
    let (share, doses) = balance::received(system, ix, doses).unzip();
    Received { litres: None, share, doses: doses.unwrap_or(0), silent, says: None }
}

/// The first and the last of the most doses in a row of which a basin's sensors told nothing, if they are several.
fn silent(id: &Id, doses: &[DoseRecord]) -> Option<(EventTime, EventTime)> {
    let runs = doses.chunk_by(|a, b| a.shares.contains_key(id) == b.shares.contains_key(id));
    let untold = runs.filter(|run| run.len() >= IN_A_ROW && !run[0].shares.contains_key(id));
    untold.max_by_key(|run| run.len()).map(|run| (run[0].at, run[run.len() - 1].at))
}

/// `from 39 of 62 doses; its sensors told of none from 8 Nov 06:38 to 20 Nov 07:10`, or why nothing is known.
pub(in crate::desk) fn basis(
    system: &System,
    ix: BasinIx,
    received: &Received,
    doses: &[DoseRecord],
    when: impl Fn(EventTime) -> String,
) -> Option<String> {
    let id = &system.basin(ix).id;
    if received.doses == doses.len() && received.doses > 0 {
        return None;
    }
    let silence = received.silent.map_or_else(String::new, |(from, to)| {
        format!("; its sensors told of none from {} to {}", when(from), when(to))
    });
    if received.doses > 0 {
        return Some(format!("from {} of {} doses{silence}", received.doses, doses.len()));
    }
    let is_sensed = [Quantity::Moisture, Quantity::Float]
        .into_iter()
        .any(|quantity| system.find_sensor(Place::Basin(ix), quantity).is_some());
    let named = doses.iter().filter(|dose| dose.shares.contains_key(id)).count();
    Some(match doses.len() {
        0 => "no dose was seen".to_owned(),
        _ if !is_sensed => "it has no probe and no float".to_owned(),
        _ if !balance::measures(system) => "its float shows that water stands, not how much came".to_owned(),
        all => told_too_little(all, named, &silence),
    })
}

fn told_too_little(all: usize, some: usize, silence: &str) -> String {
    match (all, some) {
        (1, 0) => "its sensors did not tell of the one dose".to_owned(),
        (all, 0) => format!("its sensors told of none of {all} doses"),
        (all, some) => format!("too few doses: its sensors told of {some} of {all}{silence}"),
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
        assert_eq!((october.basins[0].litres, october.basins[0].share), (Some(100.0), Some(0.25)));
        assert_eq!(october.basins[0].says.as_deref(), Some("from 2 of 3 doses"));
        assert_eq!(
            (november.words.as_str(), november.basins[0].litres),
            ("November 2026 so far", Some(25.0))
        );
        assert_eq!((lately.doses, lately.basins[0].litres), (2, Some(85.0)));
        assert_eq!(lately.basins[0].says, None, "every dose is in the figures");
    }

    #[test]
    fn figures_say_what_they_rest_on_where_sensors_were_silent() {
        let system = samples::terrace();
        let day = |day: u32, shares: &[f64]| {
            dose(&system, &format!("2026-11-{day:02}T08:00:00Z"), Some(100.0), shares)
        };
        // The first basin is silent from the 4th to the 9th.
        let mut doses: Vec<_> = (1..=12).map(|n| day(n, &[0.4, 0.1, 0.25, 0.25])).collect();
        for dose in &mut doses[3..9] {
            dose.shares.remove(&system.basins[0].id);
        }
        let sheet = received(&system, &doses, at("2026-11-20T18:00:00Z"));
        let quince = &sheet.times[1].basins[0];
        assert_eq!((quince.litres, quince.doses), (Some(240.0), 6));
        assert!((quince.share.unwrap() - 0.4).abs() < 1e-9, "litres and share are of the same six doses");
        let says = "from 6 of 12 doses; its sensors told of none from 4 Nov 01:00 to 9 Nov 01:00";
        assert_eq!(quince.says.as_deref(), Some(says));
        assert_eq!(sheet.times[1].basins[1].says, None);
    }

    #[test]
    fn what_is_not_known_says_why() {
        let system = samples::terrace();
        let why = |doses: &[DoseRecord], basin: usize| {
            let sheet = received(&system, doses, at("2026-11-20T18:00:00Z"));
            sheet.times[1].basins[basin].says.clone().unwrap()
        };
        assert_eq!(why(&[], 0), "no dose was seen");
        let silent = dose(&system, "2026-11-02T08:00:00Z", Some(50.0), &[]);
        assert_eq!(why(&[silent], 0), "its sensors did not tell of the one dose");
        let few = dose(&system, "2026-11-02T08:00:00Z", None, &[0.4, 0.1, 0.25, 0.25]);
        assert_eq!(why(&[few], 0), "too few doses: its sensors told of 1 of 1");
    }
}
