//! What the ledger holds of one system in one year.

use std::collections::BTreeMap;

use jiff::civil::date;

use crate::alerts::Stage;
use crate::ledger::{
    AlertFilter, Bin, DoseRecord, ForecastRecord, LedgerFault, Resolution, ServiceFilter, StoredAlert,
    StoredFinding, StoredService, StoredStep, StoredTest, View,
};
use crate::model::{EventTime, Place, Quantity, RecordKey, SensorIx, Span as Length, Subject, System, Work};

/// A forecast older than this says nothing of the work.
const FORETOLD: Length = Length::from_days(90);
/// Most findings, records and tests of one year.
const MOST: usize = 10_000;

/// A year of a system's own calendar, as far as it has come.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(in crate::desk) struct Span {
    pub(super) year: i16,
    pub(in crate::desk) from: EventTime,
    /// The end of the year, or now.
    pub(in crate::desk) to: EventTime,
    /// The year is over.
    pub(super) is_over: bool,
}

/// The rows.
#[derive(Debug)]
pub(super) struct Rows {
    /// When the system was heard first.
    pub(super) heard_since: Option<EventTime>,
    pub(super) doses: Vec<DoseRecord>,
    /// Newest first.
    pub(super) findings: Vec<StoredFinding>,
    /// Alerts that were closed in it, each with its steps, oldest first.
    pub(super) alerts: Vec<(StoredAlert, Vec<StoredStep>)>,
    /// Newest first.
    pub(super) services: Vec<StoredService>,
    /// By the key of a record that mulch was renewed: what was last foretold of that basin before.
    pub(super) foretold: BTreeMap<RecordKey, ForecastRecord>,
    /// Newest first.
    pub(super) tests: Vec<StoredTest>,
    /// Days of UTC, by sensor.
    pub(super) days: Vec<(SensorIx, Vec<Bin>)>,
    /// Every position that the diverter told, as its number.
    pub(super) diverter: Vec<(EventTime, f64)>,
}

impl Span {
    /// The year `year` of `system`; none if it lies wholly ahead, or outside of what calendars hold.
    pub(in crate::desk) fn of(system: &System, year: i16, now: EventTime) -> Option<Self> {
        let begin = |year: i16| {
            let midnight = (1970..=9000).contains(&year).then(|| date(year, 1, 1).at(0, 0, 0, 0))?;
            let at = system.zone.to_timestamp(midnight).ok()?;
            Some(EventTime::from_millis(at.as_millisecond()))
        };
        let (from, end) = (begin(year)?, begin(year + 1)?);
        (from < now).then_some(Self { year, from, to: end.min(now), is_over: end <= now })
    }
}

pub(super) fn rows(view: &View, system: &System, span: Span) -> Result<Rows, LedgerFault> {
    let Span { from, to, .. } = span;
    let filter = ServiceFilter {
        systems: Some(vec![system.id.clone()]),
        from: Some(from),
        to: Some(to),
        ..ServiceFilter::default()
    };
    let days = system
        .sensor_ixs()
        .filter(|ix| system.sensor(*ix).declared)
        .map(|ix| Ok((ix, view.history(&system.id, &system.sensor_name(ix), from, to, Resolution::Day)?)))
        .collect::<Result<_, LedgerFault>>()?;
    let diverter = match system.find_sensor(Place::System, Quantity::Diverter) {
        Some(ix) => {
            // Hours outlive the readings themselves; within one hour it may have been turned and turned back.
            let hours = view.history(&system.id, &system.sensor_name(ix), from, to, Resolution::Hour)?;
            hours.iter().flat_map(|bin| [(bin.at, bin.min), (bin.at, bin.max)]).collect()
        }
        None => Vec::new(),
    };
    let services = view.services(&filter, MOST)?;
    Ok(Rows {
        heard_since: view.heard_since(&system.id)?,
        doses: view.doses(&system.id, from, to)?,
        findings: view.findings_within(&system.id, from, to, MOST)?,
        alerts: alerts(view, system, span)?,
        foretold: foretold(view, system, &services)?,
        services,
        tests: view.flow_tests(&system.id, from, to, MOST)?,
        days,
        diverter,
    })
}

/// Alerts of `system` that were closed within `span`, in the order of their closing.
fn alerts(
    view: &View,
    system: &System,
    span: Span,
) -> Result<Vec<(StoredAlert, Vec<StoredStep>)>, LedgerFault> {
    let (of, standing) = (Some(system.id.clone()), Some(false));
    let filter = AlertFilter { system: of, standing, ..AlertFilter::default() };
    let closed = |alert: &StoredAlert| match alert.stage {
        Stage::Closed { at, .. } => Some(at).filter(|at| (span.from..span.to).contains(at)),
        Stage::Open { .. } | Stage::Acknowledged { .. } | Stage::Snoozed { .. } => None,
    };
    let mut alerts = view.alerts(&filter, MOST)?;
    alerts.retain(|alert| closed(alert).is_some());
    alerts.sort_by_key(|alert| (closed(alert), alert.no));
    let numbers: Vec<_> = alerts.iter().map(|alert| alert.no).collect();
    let mut steps = view.alert_steps(&numbers)?;
    let with_steps = |alert: StoredAlert| {
        let steps = steps.remove(&alert.no).unwrap_or_default();
        (alert, steps)
    };
    Ok(alerts.into_iter().map(with_steps).collect())
}

fn foretold(
    view: &View,
    system: &System,
    services: &[StoredService],
) -> Result<BTreeMap<RecordKey, ForecastRecord>, LedgerFault> {
    let mut foretold = BTreeMap::new();
    for stored in services.iter().filter(|stored| stored.record.work.contains(&Work::MulchRenewed)) {
        let (Subject::Basin(basin), at) = (&stored.record.subject, stored.record.at) else { continue };
        if let Some(newest) = view.forecasts_of(&system.id, basin, at - FORETOLD, at)?.pop() {
            foretold.insert(stored.key.clone(), newest);
        }
    }
    Ok(foretold)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::desk::samples;
    use crate::desk::year::samples::at;

    #[test]
    fn a_year_begins_and_ends_with_the_calendar_of_the_yard() {
        let system = samples::terrace();
        let span = |year, now| Span::of(&system, year, at(now));
        let whole = span(2025, "2026-02-01T00:00:00Z").unwrap();
        // Denver lies 7 h behind UTC in winter.
        assert_eq!((whole.from, whole.to), (at("2025-01-01T07:00:00Z"), at("2026-01-01T07:00:00Z")));
        assert!(whole.is_over);
        let part = span(2026, "2026-02-01T00:00:00Z").unwrap();
        assert_eq!((part.to, part.is_over), (at("2026-02-01T00:00:00Z"), false));
        assert_eq!(span(2027, "2026-02-01T00:00:00Z"), None);
        assert_eq!(span(9_999, "2026-02-01T00:00:00Z"), None);
    }
}
