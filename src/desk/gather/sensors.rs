//! The sensors of a system: whether each is believed, how it is heard, and its battery.

use super::Readings;
use super::battery::low_at;
use super::system::sensors;
use crate::advice::is_never_heard;
use crate::desk::sheet::{DoubtRow, SensorState, SensorsSheet, SystemCard, Urgency};
use crate::desk::units::Units;
use crate::desk::words;
use crate::ledger::{Bin, Latest, StoredFinding};
use crate::model::{EventTime, FindingKind, Place, Quantity, SensorIx, Span, Subject, System};

/// A battery that will be low within this is named before all others.
const SOON: Span = Span::from_days(60);

/// What was not heard for so long is not called believed: nothing that it says can be.
pub(super) const QUIET: Span = Span::DAY;

/// What the ledger knows of the sensors of a system.
#[derive(Clone, Debug)]
pub struct SensorsRecord {
    /// Open findings of the system.
    pub open: Vec<StoredFinding>,
    /// Its last readings.
    pub latest: Vec<Latest>,
    /// The charge of each battery by day.
    pub batteries: Vec<(SensorIx, Vec<Bin>)>,
}

/// The page of all sensors of `system`, whose topics begin with `prefix`.
pub fn sensors_sheet(
    system: &System,
    record: &SensorsRecord,
    (broker, prefix): (&str, &str),
    now: EventTime,
    units: Units,
) -> SensorsSheet {
    let readings = Readings::new(system, &record.latest, now);
    let rows = sensors(system, &record.open, readings, units);
    let topic = |name: &str| {
        let ix = system.sensor_ixs().find(|ix| system.sensor_name(*ix) == name);
        ix.map_or_else(String::new, |ix| system.topic(ix, prefix))
    };
    let batteries: Vec<Battery> = record
        .batteries
        .iter()
        .filter_map(|(ix, days)| {
            // Where a finding says that it is nearly empty, no day is foretold for that.
            let days = if is_nearly_empty(&record.open, &system.sensor_name(*ix)) { &[][..] } else { days };
            Battery::of(system, *ix, readings, days, now)
        })
        .collect();
    let battery_of = |name: &str| {
        let basin = name.split_once('/').map(|(basin, _)| basin)?;
        batteries.iter().find(|battery| battery.basin == basin).map(|battery| battery.words.clone())
    };
    let soon = batteries.iter().filter(|battery| battery.low.is_some_and(|at| at <= now + SOON));
    SensorsSheet {
        system: (system.id.to_string(), system.name.clone()),
        today: words::today(now, &system.zone),
        broker: broker.to_owned(),
        batteries: soon.map(|battery| format!("{}: {}", battery.place, battery.words)).collect(),
        rows: rows
            .into_iter()
            .map(|row| SensorState {
                topic: topic(&row.name),
                battery: battery_of(&row.name),
                unheard: row.last.as_ref().is_some_and(|(_, at)| at.at + QUIET < now),
                row,
            })
            .collect(),
        may_change: false,
        hears_all: false,
    }
}

/// A battery in words.
struct Battery {
    basin: String,
    place: String,
    words: String,
    low: Option<EventTime>,
}

impl Battery {
    fn of(
        system: &System,
        ix: SensorIx,
        readings: Readings<'_>,
        days: &[Bin],
        now: EventTime,
    ) -> Option<Self> {
        let Place::Basin(basin) = system.sensor(ix).place else { return None };
        let charge = words::value(Quantity::Battery, readings.of(ix)?.value);
        let low = low_at(days, now);
        let words = format!("{charge}{}", low.map_or_else(String::new, |at| low_words(at, system)));
        let basin = system.basin(basin);
        Some(Self { basin: basin.id.to_string(), place: words::capitalised(basin.label()), words, low })
    }
}

/// Whether a finding of `open` says that the battery called `name` is nearly empty.
pub(super) fn is_nearly_empty(open: &[StoredFinding], name: &str) -> bool {
    open.iter().any(|stored| {
        stored.finding.kind == FindingKind::BatteryLow
            && matches!(&stored.finding.subject, Subject::Sensor(of) if of.as_str() == name)
    })
}

/// `; low around 12 Mar 2027 at this rate`
pub(super) fn low_words(at: EventTime, system: &System) -> String {
    let day = at.timestamp().to_zoned_datetime(system.zone.clone()).strftime("%-d %b %Y").to_string();
    format!("; low around {day} at this rate")
}

/// Why a sensor called `name` is in doubt, most urgent first.
pub(super) fn doubt(open: &[StoredFinding], name: &str, readings: Readings<'_>) -> Option<(Urgency, String)> {
    let about = open
        .iter()
        .filter(|stored| matches!(&stored.finding.subject, Subject::Sensor(of) if of.as_str() == name));
    about
        .filter_map(|stored| {
            let since = readings.moment(stored.raised_at).words;
            let says = if is_never_heard(&stored.finding) {
                "never heard".to_owned()
            } else {
                format!("{} since {since}", in_doubt(stored.finding.kind)?)
            };
            Some((Urgency::of(stored.finding.severity), says))
        })
        .min_by_key(|(urgency, _)| *urgency)
}

/// What a finding about a sensor makes doubtful; none of findings about water.
pub(super) const fn in_doubt(kind: FindingKind) -> Option<&'static str> {
    match kind {
        FindingKind::SensorSilent => Some("silent"),
        FindingKind::SensorStuck => Some("stuck at one value"),
        FindingKind::SensorImplausible => Some("telling what cannot be"),
        FindingKind::BatteryLow => Some("battery nearly empty"),
        FindingKind::Flooding
        | FindingKind::Ponding
        | FindingKind::SlowSoak
        | FindingKind::BlockedOutlet
        | FindingKind::UnevenSplit
        | FindingKind::NoWater
        | FindingKind::UnexpectedWater => None,
    }
}

/// The sensors in doubt of the system on `card`.
pub fn doubts(card: &SystemCard) -> impl Iterator<Item = DoubtRow> {
    card.findings.iter().filter(|finding| in_doubt(finding.kind).is_some()).map(|finding| DoubtRow {
        system: (card.id.to_string(), card.name.clone()),
        headline: finding.headline.clone(),
        urgency: finding.urgency,
        since: finding.since.clone(),
        page: format!("/systems/{}#{}", card.id, finding.anchor),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::desk::samples;
    use crate::model::Severity;

    #[test]
    fn a_sensor_is_in_doubt_by_what_is_found_of_it_and_by_nothing_else() {
        let (system, now) = (samples::terrace(), "2026-06-01T12:00:00Z".parse().unwrap());
        let readings = Readings::new(&system, &[], now);
        let mut stuck = samples::flood(&system, "quince", now);
        (stuck.finding.kind, stuck.finding.severity) = (FindingKind::SensorStuck, Severity::Warning);
        stuck.finding.subject = Subject::Sensor("quince/float".into());
        let mut battery = stuck.clone();
        (battery.finding.kind, battery.finding.severity) = (FindingKind::BatteryLow, Severity::Info);
        let open = [samples::flood(&system, "quince", now), battery, stuck];
        let (urgency, says) = doubt(&open, "quince/float", readings).unwrap();
        assert!(says.starts_with("stuck at one value since"), "{says}");
        assert_eq!(urgency, Urgency::Soon);
        assert_eq!(doubt(&open, "quince/moisture", readings), None);
        let rows = sensors(&system, &open, readings, Units::Metric);
        assert_eq!(rows.iter().filter(|row| row.doubt.is_some()).count(), 1);
    }

    #[test]
    fn what_was_not_heard_for_a_day_is_not_called_believed_and_an_empty_battery_has_no_day_to_come() {
        let system = samples::terrace();
        let now: EventTime = "2026-06-01T12:00:00Z".parse().unwrap();
        let heard = |ago: Span| Latest {
            system: system.id.clone(),
            sensor: "quince/float".into(),
            quantity: Quantity::Float,
            at: now - ago,
            value: 0.0,
        };
        let unheard = |ago: Span| {
            let record = SensorsRecord { open: Vec::new(), latest: vec![heard(ago)], batteries: Vec::new() };
            let sheet = sensors_sheet(&system, &record, ("mqtt://b", "greywater"), now, Units::Metric);
            sheet
                .rows
                .iter()
                .filter(|state| state.unheard)
                .map(|state| state.row.name.clone())
                .collect::<Vec<_>>()
        };
        assert_eq!(unheard(Span::from_hours(23)), Vec::<String>::new());
        assert_eq!(unheard(Span::from_hours(25)), ["quince/float"]);
        let mut empty = samples::flood(&system, "quince", now);
        empty.finding.kind = FindingKind::BatteryLow;
        empty.finding.subject = Subject::Sensor("quince/battery".into());
        assert!(is_nearly_empty(std::slice::from_ref(&empty), "quince/battery"));
        assert!(!is_nearly_empty(&[empty], "fig/battery"));
    }
}
