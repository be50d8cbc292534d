//! One sensor's own page.

use super::Readings;
use super::battery::low_at;
use super::finding::{findings, shown_at};
use super::rhythm::rhythm;
use super::sensors::{QUIET, in_doubt, is_nearly_empty, low_words};
use super::system::past;
use crate::advice::{basin_title, sensor_title};
use crate::desk::sheet::{DayHeard, RefusedSheet, SensorPage};
use crate::desk::units::Units;
use crate::desk::words;
use crate::intake::{Refusal, payload};
use crate::ledger::{Arrivals, Bin, Latest, RefusalSample, StoredFinding};
use crate::model::{EventTime, FindingKind, Place, Quantity, SensorIx, Span, Subject, System};

/// Readings that are listed.
const LISTED: usize = 24;
/// Payloads that are listed.
const PAYLOADS: usize = 8;
/// Readings from which something is said of how a sensor behaves.
const ENOUGH: u64 = 10;

/// What the ledger knows of one sensor.
#[derive(Clone, Debug)]
pub struct SensorRecord {
    /// Open findings of its system.
    pub open: Vec<StoredFinding>,
    /// Findings of its system, open or over, newest first.
    pub history: Vec<StoredFinding>,
    /// Last readings of its system.
    pub latest: Vec<Latest>,
    /// How its readings arrived; none while none did since that is counted.
    pub arrivals: Option<Arrivals>,
    /// Its readings of late, in order.
    pub readings: Vec<Bin>,
    /// Over how long.
    pub lately: Span,
    /// Its readings by day of UTC.
    pub days: Vec<Bin>,
    /// The charge of the battery where it sits, by day.
    pub battery: Vec<Bin>,
    /// Refused records on its topic, newest first.
    pub refusals: Vec<RefusalSample>,
}

/// The page of a sensor that is heard at `topic`.
pub fn sensor_page(
    system: &System,
    ix: SensorIx,
    topic: String,
    record: &SensorRecord,
    now: EventTime,
    units: Units,
) -> SensorPage {
    let sensor = system.sensor(ix);
    let name = system.sensor_name(ix);
    let moment = |at| words::moment(at, now, &system.zone);
    let about =
        |stored: &&StoredFinding| matches!(&stored.finding.subject, Subject::Sensor(of) if *of == name);
    let open: Vec<StoredFinding> = record.open.iter().filter(about).cloned().collect();
    let over: Vec<StoredFinding> = record.history.iter().filter(about).cloned().collect();
    let basin = match sensor.place {
        Place::Basin(basin) => Some((system.basin(basin).id.to_string(), basin_title(system, basin))),
        Place::System => None,
    };
    let value = |number| units.value(sensor.quantity, number);
    let last = Readings::new(system, &record.latest, now).of(ix);
    let is_heard = last.is_some();
    let quiet = last.filter(|last| last.at + QUIET < now).map(|last| moment(last.at).words);
    let page = format!("/systems/{}/sensors/{name}", system.id);
    SensorPage {
        system: (system.id.to_string(), system.name.clone()),
        today: words::today(now, &system.zone),
        basin,
        words: sensor_title(system, &name),
        topic,
        is_heard,
        sends: payload(sensor),
        verdict: verdict(&open, if is_heard { heard_times(record).max(1) } else { 0 }, quiet),
        findings: shown_at(&page, findings(system, &open, Readings::new(system, &[], now), units)),
        facts: facts(system, ix, record, now, units),
        days: days(record, now),
        payloads: record
            .arrivals
            .iter()
            .flat_map(|arrivals| &arrivals.payloads)
            .take(PAYLOADS)
            .map(|(at, payload)| (moment(*at), payload.clone()))
            .collect(),
        refusals: record.refusals.iter().map(|sample| refused(sample, moment(sample.at))).collect(),
        readings: record
            .readings
            .iter()
            .rev()
            .take(LISTED)
            .map(|bin| (moment(bin.at), value(bin.mean)))
            .collect(),
        past: past(system, &over, now),
        name,
    }
}

/// How often it was heard at the least: what is counted of its arrivals, or of the days that are shown.
fn heard_times(record: &SensorRecord) -> u64 {
    let days = record.days.iter().map(|day| day.count).sum();
    record.arrivals.as_ref().map_or(0, |it| it.readings).max(days)
}

/// What the open findings say of it, and how many readings speak for it where none does; since when it is quiet, where
/// that is long.
fn verdict(open: &[StoredFinding], heard: u64, quiet: Option<String>) -> String {
    let of_itself = open.iter().filter(|stored| stored.finding.kind != FindingKind::BatteryLow);
    let doubts: Vec<&str> = of_itself.filter_map(|stored| in_doubt(stored.finding.kind)).collect();
    if let Some(since) = quiet.filter(|_| doubts.is_empty()) {
        return format!("Not heard since {since}: what it would tell since then, nobody knows.");
    }
    match (doubts.is_empty(), heard) {
        (false, _) => format!("Not believed: it is {}.", doubts.join(", and ")),
        (true, 0) => "Never heard yet.".to_owned(),
        (true, 1) => "Heard once so far: too little to tell whether it is to be believed.".to_owned(),
        (true, few) if few < ENOUGH => {
            let times = words::count(usize::try_from(few).unwrap_or(usize::MAX));
            format!("Heard {times} times so far: too little to tell whether it is to be believed.")
        }
        (true, _) => {
            "Believed: it is neither silent nor stuck, and nothing that it says contradicts the others."
                .to_owned()
        }
    }
}

fn facts(
    system: &System,
    ix: SensorIx,
    record: &SensorRecord,
    now: EventTime,
    units: Units,
) -> Vec<(&'static str, String)> {
    let sensor = system.sensor(ix);
    let readings = Readings::new(system, &record.latest, now);
    let mut facts = Vec::new();
    if let Some(last) = readings.of(ix) {
        let when = readings.moment(last.at).words;
        facts.push(("Last value", format!("{}, measured {when}", units.value(sensor.quantity, last.value))));
    }
    let arrivals = record.arrivals.as_ref();
    facts.push(("Last heard", arrivals.map_or("never".to_owned(), |it| readings.moment(it.last).words)));
    facts.extend(regularity(record, now));
    if let Some(it) = arrivals {
        let since = readings.moment(it.since).words;
        facts.push(("Arrived", format!("{} readings since {since}", words::grouped(it.readings))));
        facts.push(("Came twice", part(it.repeated, it.readings)));
        let longest = if it.late == 0 {
            String::new()
        } else {
            format!("; the longest was under way for {}", words::span(it.longest))
        };
        facts.push(("Came late", format!("{}{longest}", part(it.late, it.readings))));
    }
    if let Place::Basin(_) = sensor.place {
        let battery = system.find_sensor(sensor.place, Quantity::Battery);
        let name = battery.map(|battery| system.sensor_name(battery));
        let is_low = name.is_some_and(|name| is_nearly_empty(&record.open, &name));
        let low = low_at(&record.battery, now)
            .filter(|_| !is_low)
            .map_or_else(String::new, |at| low_words(at, system));
        facts.extend(battery.and_then(|battery| readings.of(battery)).map(|charge| {
            let when = readings.moment(charge.at).words;
            ("Battery", format!("{}, {when}{low}", words::value(Quantity::Battery, charge.value)))
        }));
    }
    let source = if sensor.declared { "yes" } else { "no, it is heard at its usual topic" };
    facts.push(("Named in the system file", source.to_owned()));
    facts
}

/// Interval and what was missed.
fn regularity(record: &SensorRecord, now: EventTime) -> Vec<(&'static str, String)> {
    let times: Vec<EventTime> = record.readings.iter().map(|bin| bin.at).collect();
    match rhythm(&times, now) {
        Some(found) => vec![
            ("Speaks", format!("every {}", words::span(found.interval))),
            (
                "Missed",
                format!("{} expected in {}", part(found.missed, found.expected), words::span(record.lately)),
            ),
        ],
        None if times.is_empty() => vec![("Speaks", format!("not in {}", words::span(record.lately)))],
        None if (times.len() as u64) < ENOUGH => {
            let few = words::count(times.len());
            vec![(
                "Speaks",
                format!("too few readings in {} to tell how often: {few}", words::span(record.lately)),
            )]
        }
        None => vec![("Speaks", "when something changes, at no even interval".to_owned())],
    }
}

/// How many of how many: `none of 2 016`, `12 of 2 016 (0.6 %)`.
fn part(some: u64, all: u64) -> String {
    if some == 0 {
        return format!("none of {}", words::grouped(all));
    }
    let percent = 100.0 * some as f64 / all.max(1) as f64;
    let percent = if percent < 0.1 { "under 0.1".to_owned() } else { format!("{percent:.1}") };
    format!("{} of {} ({percent}\u{a0}%)", words::grouped(some), words::grouped(all))
}

/// The days, each against what an even rhythm would bring or, without one, against the day with most readings.
fn days(record: &SensorRecord, now: EventTime) -> Vec<DayHeard> {
    let times: Vec<EventTime> = record.readings.iter().map(|bin| bin.at).collect();
    let most = record.days.iter().map(|day| day.count).max().unwrap_or_default() as f64;
    let whole_day =
        rhythm(&times, now).map_or(most, |found| Span::DAY.secs_f64() / found.interval.secs_f64());
    let (Some(first), true) = (record.days.first(), whole_day > 0.0) else { return Vec::new() };
    let from = first.at.millis();
    let today = now.millis().div_euclid(Span::DAY.millis()) * Span::DAY.millis();
    let span = |at: i64| (from..=at).step_by(Span::DAY.millis() as usize);
    span(today)
        .map(|at| {
            let at = EventTime::from_millis(at);
            let heard = record.days.iter().find(|day| day.at == at).map_or(0, |day| day.count);
            let expected = whole_day * (now - at).days_f64().clamp(0.05, 1.0);
            DayHeard {
                words: format!("{}: {} readings", at.timestamp().strftime("%-d %b"), words::grouped(heard)),
                part: (heard as f64 / expected).min(1.0),
            }
        })
        .collect()
}

fn refused(sample: &RefusalSample, at: crate::desk::sheet::Moment) -> RefusedSheet {
    let mend =
        Refusal::ALL.iter().find(|reason| reason.name() == sample.reason).map_or("", |reason| reason.mend());
    RefusedSheet {
        at,
        detail: words::capitalised(&words::refusal(&sample.detail)),
        mend,
        payload: sample.sample.clone(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_few_readings_say_nothing_of_a_sensor() {
        assert_eq!(verdict(&[], 0, None), "Never heard yet.");
        assert!(verdict(&[], 1, None).starts_with("Heard once so far"), "{}", verdict(&[], 1, None));
        assert!(
            verdict(&[], ENOUGH - 1, None).starts_with("Heard nine times so far"),
            "{}",
            verdict(&[], ENOUGH - 1, None)
        );
        assert!(verdict(&[], ENOUGH, None).starts_with("Believed"), "{}", verdict(&[], ENOUGH, None));
    }
}
