//! What a sensor's page asks of the ledger.

use crate::desk::gather::SensorRecord;
use crate::ledger::{LedgerFault, Resolution, View};
use crate::model::{EventTime, Place, Quantity, SensorIx, Span, System};

/// Days shown.
const DAYS: Span = Span::from_days(30);
/// How far back single readings are looked at, and how far where there are more than [`MANY`] in that time.
const LATELY: Span = Span::from_days(7);
const SHORTLY: Span = Span::DAY;
const MANY: u64 = 20_000;
/// Refused records shown.
const REFUSALS: usize = 10;

/// What is known of a sensor that is heard at `topic`; at most `past` findings that are over.
pub(in crate::desk) fn sensor(
    view: &View,
    system: &System,
    ix: SensorIx,
    topic: &str,
    past: usize,
    now: EventTime,
) -> Result<SensorRecord, LedgerFault> {
    let (name, place) = (system.sensor_name(ix), system.sensor(ix).place);
    let history = |back: Span, by| view.history(&system.id, &name, now - back, now + Span::MINUTE, by);
    let days = history(DAYS, Resolution::Day)?;
    let week: u64 = days.iter().filter(|day| day.at > now - LATELY).map(|day| day.count).sum();
    let lately = if week > MANY { SHORTLY } else { LATELY };
    let mut refusals = view.refusals()?.samples;
    refusals.retain(|sample| sample.topic == topic);
    refusals.truncate(REFUSALS);
    Ok(SensorRecord {
        open: super::open(view, system)?,
        history: view.findings_history(Some(&system.id), EventTime::MAX, past)?,
        latest: view.latest(Some(&system.id))?,
        arrivals: view.arrivals(&system.id)?.into_iter().find(|arrivals| *arrivals.sensor == *name),
        readings: history(lately, Resolution::Raw)?,
        lately,
        days,
        battery: match (place, system.find_sensor(place, Quantity::Battery)) {
            (Place::Basin(_), Some(battery)) => super::sensors::charge(view, system, battery, now)?,
            (Place::Basin(_) | Place::System, _) => Vec::new(),
        },
        refusals,
    })
}
