//! The floods of a year, out of the ledger.

use std::collections::BTreeMap;
use std::sync::Arc;

use super::account::{Flood, FloodWork};
use super::handled::handled;
use crate::advice::{headline, headline_past, place_title};
use crate::alerts::AlertNo;
use crate::desk::year::YearSpan;
use crate::ledger::{
    AlertFilter, LedgerFault, ServiceFilter, StoredAlert, StoredFinding, StoredService, StoredStep, View,
};
use crate::model::{EventTime, FindingKind, Id, Span, Subject, System};

/// Most floods of one year, and most alerts and records beside them.
const MOST: usize = 20_000;
/// Zones lie within this of UTC.
const ASIDE: Span = Span::from_days(1);
/// An alert may have been opened so long before a flood that it tells of: it returned. Later, it is another one.
const EARLIER: Span = Span::from_days(31);
/// Work is told with a flood until so long after its end.
const AFTER: Span = Span::from_days(1);

/// Floods found in `year` of each system's own calendar, newest first.
///
/// # Errors
/// When the ledger cannot be read.
pub(super) fn floods(
    view: &View,
    systems: &[Arc<System>],
    year: i16,
    now: EventTime,
) -> Result<Vec<Flood>, LedgerFault> {
    let spans: BTreeMap<&Id, (&System, YearSpan)> = systems
        .iter()
        .filter_map(|system| Some((&system.id, (&**system, YearSpan::of(system, year, now)?))))
        .collect();
    let Some(from) = spans.values().map(|(_, span)| span.from).min() else { return Ok(Vec::new()) };
    let to = spans.values().map(|(_, span)| span.to).max().unwrap_or(now);
    // Those that come next end what was done about the ones before.
    let found = view.floods(from - ASIDE, to + EARLIER, MOST)?;
    let beside = Beside::read(view, &found, (from, now))?;
    let told = found.iter().filter_map(|flood| {
        let (system, span) = spans.get(&flood.system)?;
        (span.from..span.to).contains(&flood.raised_at).then(|| beside.told(system, flood, now))
    });
    Ok(told.collect())
}

/// What the ledger holds beside the floods.
struct Beside {
    /// Of each place, oldest first.
    alerts: BTreeMap<(Id, String), Vec<StoredAlert>>,
    steps: BTreeMap<AlertNo, Vec<StoredStep>>,
    /// Of each system, oldest first.
    work: BTreeMap<Id, Vec<StoredService>>,
    /// When the floods of each place were found, oldest first.
    found: BTreeMap<(Id, String), Vec<EventTime>>,
}

fn place(system: &Id, subject: &Subject) -> (Id, String) {
    (system.clone(), subject.key())
}

impl Beside {
    fn read(
        view: &View,
        floods: &[StoredFinding],
        (from, to): (EventTime, EventTime),
    ) -> Result<Self, LedgerFault> {
        let mut beside = Self {
            alerts: BTreeMap::new(),
            steps: BTreeMap::new(),
            work: BTreeMap::new(),
            found: BTreeMap::new(),
        };
        for flood in floods.iter().rev() {
            let found = beside.found.entry(place(&flood.system, &flood.finding.subject)).or_default();
            found.push(flood.raised_at);
        }
        if floods.is_empty() {
            return Ok(beside);
        }
        let kind = Some(FindingKind::Flooding);
        let filter = AlertFilter { kind, since: Some(from - EARLIER), ..AlertFilter::default() };
        let mut numbers = Vec::new();
        for alert in view.alerts(&filter, MOST)?.into_iter().rev() {
            let place = place(&alert.system, &alert.finding.subject);
            if beside.found.contains_key(&place) {
                numbers.extend([Some(alert.no), alert.under].into_iter().flatten());
                beside.alerts.entry(place).or_default().push(alert);
            }
        }
        beside.steps = view.alert_steps(&numbers)?;
        let mut systems: Vec<Id> = floods.iter().map(|flood| flood.system.clone()).collect();
        systems.sort();
        systems.dedup();
        let (systems, from, to) = (Some(systems), Some(from - ASIDE), Some(to));
        let filter = ServiceFilter { systems, from, to, ..ServiceFilter::default() };
        for stored in view.services(&filter, MOST)?.into_iter().rev() {
            beside.work.entry(stored.system.clone()).or_default().push(stored);
        }
        Ok(beside)
    }

    fn told(&self, system: &System, stored: &StoredFinding, now: EventTime) -> Flood {
        let StoredFinding { finding, raised_at, cleared_at, .. } = stored;
        let place = place(&stored.system, &finding.subject);
        let stood = finding.estimate.get("standing_since").and_then(|since| since.as_str()?.parse().ok());
        let began_at = stood.map_or(*raised_at, |since: EventTime| since.min(*raised_at));
        let alerts = self.alerts.get(&place).map_or(&[][..], Vec::as_slice);
        let alert = alerts.iter().rev().find(|alert| alert.opened_at <= *raised_at);
        let next = self.found.get(&place).and_then(|found| found.iter().find(|at| *at > raised_at));
        let until = next.copied().unwrap_or(EventTime::MAX);
        // Of a flood that is taken for a consequence, people see to the cause.
        let numbers = alert.into_iter().flat_map(|alert| [Some(alert.no), alert.under]).flatten();
        let mut steps: Vec<&StoredStep> = numbers.filter_map(|no| self.steps.get(&no)).flatten().collect();
        steps.sort_by_key(|step| step.at);
        let (taken, closed) = handled(steps, *raised_at, until);
        Flood {
            system: stored.system.clone(),
            name: system.name.clone(),
            property: system.property.clone(),
            subject: finding.subject.key(),
            headline: if cleared_at.is_some() { headline_past } else { headline }(finding, system),
            began_at,
            found_at: *raised_at,
            ended_at: *cleared_at,
            hours: ((cleared_at.unwrap_or(now) - began_at).hours_f64() * 10.0).round() / 10.0,
            alert: alert.map(|alert| alert.no.0),
            taken,
            closed,
            work: self.work(system, began_at, cleared_at.map_or(now, |end| end + AFTER).min(until)),
        }
    }

    fn work(&self, system: &System, from: EventTime, to: EventTime) -> Vec<FloodWork> {
        let written = self.work.get(&system.id).map_or(&[][..], Vec::as_slice).iter();
        let during = written.filter(|stored| (from..to).contains(&stored.record.at));
        let told = during.map(|stored| FloodWork {
            key: stored.key.to_string(),
            at: stored.record.at,
            place: place_title(system, &stored.record.subject),
            work: stored.record.work.iter().map(|work| work.name().to_owned()).collect(),
            note: stored.record.note.clone(),
            by: stored.by.clone(),
        });
        told.collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::alerts::Act;
    use crate::desk::samples;
    use crate::engine::{Change, Effect, FindingChange};
    use crate::ledger::{AlertOrder, AlertWork, Batch, Ledger, Order, ServiceDeed, ServiceOrder, SystemNo};
    use crate::model::{RecordKey, ServiceRecord, Work};

    fn at(time: &str) -> EventTime {
        time.parse().unwrap()
    }

    /// A ledger that is written to one commit after the other.
    struct House {
        ledger: Ledger,
        system: System,
        number: SystemNo,
        _folder: tempfile::TempDir,
    }

    impl House {
        fn new() -> Self {
            let folder = tempfile::tempdir().unwrap();
            let (mut ledger, system) = (Ledger::open(folder.path()).unwrap(), samples::terrace());
            let number = ledger.enrol([&system]).unwrap()[0];
            Self { ledger, system, number, _folder: folder }
        }

        fn commit(&mut self, write: impl FnOnce(&mut Batch)) {
            let mut batch = Batch::default();
            write(&mut batch);
            self.ledger.commit(&batch).unwrap();
        }

        /// A change of the flood for which water has stood since `since`.
        fn flood(&mut self, basin: &str, change: Change, when: &str, since: &str) {
            let (at, since, number) = (at(when), at(since), self.number);
            let mut finding = samples::flood(&self.system, basin, at).finding;
            finding.estimate.insert("standing_since".to_owned(), since.to_string().into());
            let change = FindingChange { change, at, finding };
            self.commit(|batch| batch.conclude(number, Effect::Finding(change)));
        }

        fn step(&mut self, alert: u64, when: &str, by: &str, act: Act) {
            let work = AlertWork::Step { alert: AlertNo(alert), act };
            let order = AlertOrder { at: at(when), by: Some(by.to_owned()), work };
            self.commit(|batch| batch.order(Order::Alert(order)));
        }

        fn floods(&self, year: i16) -> Vec<Flood> {
            let systems = [Arc::new(self.system.clone())];
            floods(&self.ledger.view().unwrap(), &systems, year, at("2026-06-01T00:00:00Z")).unwrap()
        }
    }

    #[test]
    fn each_flood_has_its_own_people_and_work_in_the_year_of_the_yard() {
        let mut house = House::new();
        // In Denver it is still the last day of 2025.
        let (first, second) = ("2026-01-01T00:00:00Z", "2026-01-01T12:00:00Z");
        house.flood("fig", Change::Raised, "2026-01-01T06:00:00Z", first);
        house.step(1, "2026-01-01T06:10:00Z", "Ana", Act::Acknowledge);
        house.flood("fig", Change::Cleared, "2026-01-01T09:00:00Z", first);
        // It comes back within a day: the same alert, and another flood.
        house.flood("fig", Change::Raised, "2026-01-01T18:00:00Z", second);
        let reason = "a contractor comes".to_owned();
        house.step(1, "2026-01-01T19:00:00Z", "Sam", Act::Close { reason });
        let (number, system) = (house.system.id.clone(), house.system.basins[0].id.clone());
        let record = ServiceRecord {
            work: vec![Work::OutletCleared],
            note: "roots".to_owned(),
            ..ServiceRecord::look(Subject::Basin(system), at("2026-01-02T20:00:00Z"))
        };
        house.commit(|batch| {
            let key = RecordKey::new("0f5b2c1e-77aa-4c55-9c5e-5ec2e7f16041").unwrap();
            let (at, by) = (at("2026-01-02T20:30:00Z"), "Tom".to_owned());
            let deed = ServiceDeed::Record(Box::new(record));
            batch.order(Order::Service(ServiceOrder { at, by, system: number, key, deed }));
        });
        house.flood("fig", Change::Cleared, "2026-01-02T06:00:00Z", second);

        let before = house.floods(2025);
        assert_eq!(before.len(), 1, "{before:?}");
        assert_eq!(before[0].began_at, at("2026-01-01T00:00:00Z"));
        assert_eq!((before[0].hours, before[0].alert), (9.0, Some(1)));
        assert_eq!(before[0].taken.as_ref().map(|taken| taken.by.as_str()), Some("Ana"));
        assert!(before[0].closed.is_none() && before[0].work.is_empty(), "{before:?}");

        let after = house.floods(2026);
        assert_eq!(after.len(), 1, "{after:?}");
        let flood = &after[0];
        assert_eq!((flood.hours, flood.alert, flood.taken.as_ref()), (18.0, Some(1), None));
        let closed = flood.closed.as_ref().unwrap();
        assert_eq!((closed.by.as_str(), closed.reason.as_str()), ("Sam", "a contractor comes"));
        assert_eq!((flood.work.len(), flood.work[0].by.as_str()), (1, "Tom"));
        assert!(house.floods(2024).is_empty() && house.floods(2027).is_empty());
    }

    #[test]
    fn what_stands_is_told_with_its_hours_so_far_and_other_findings_are_not() {
        let mut house = House::new();
        let number = house.number;
        house.flood("fig", Change::Raised, "2026-05-31T12:00:00Z", "2026-05-31T06:00:00Z");
        house.flood("quince", Change::Raised, "2026-05-30T12:00:00Z", "2026-05-30T06:00:00Z");
        let mut pond = samples::flood(&house.system, "plum", at("2026-05-29T12:00:00Z")).finding;
        pond.kind = FindingKind::Ponding;
        let at = at("2026-05-29T12:00:00Z");
        let change = FindingChange { change: Change::Raised, at, finding: pond };
        house.commit(|batch| batch.conclude(number, Effect::Finding(change)));
        let told: Vec<_> =
            house.floods(2026).into_iter().map(|it| (it.subject, it.hours, it.ended_at)).collect();
        assert_eq!(told, [("basin:fig".to_owned(), 18.0, None), ("basin:quince".to_owned(), 42.0, None)]);
    }
}
