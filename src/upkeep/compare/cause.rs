//! What faults of the past come from.

use std::collections::BTreeMap;

use super::{Course, Past, PastFinding};
use crate::model::{EventTime, Finding, FindingKind, Severity, Subject, System, Work};
use crate::upkeep::{Day, TaskKind};

/// Faults of the period that come and go until somebody mends what they come from.
pub(super) struct Cause<'a> {
    pub(super) system: &'a System,
    /// In order; at least one.
    pub(super) faults: Vec<Fault<'a>>,
}

/// A fault of the period, in days of its yard.
pub(super) struct Fault<'a> {
    pub(super) past: &'a PastFinding,
    pub(super) from: Day,
    /// When it was over.
    pub(super) over: Day,
    /// When it would have been over if nobody had done anything.
    pub(super) until: Day,
}

impl<'a> Cause<'a> {
    pub(super) fn all(past: &'a Past<'_>, (from, to): Course) -> impl Iterator<Item = Self> {
        let day = |at| Day::of(at, &past.system.zone);
        let mut open: BTreeMap<(&Subject, FindingKind), Self> = BTreeMap::new();
        let mut all = Vec::new();
        for it in past.findings.iter().filter(|it| it.finding.severity > Severity::Info) {
            let over = it.cleared.map_or(to, day).min(to);
            let fault = Fault { past: it, from: day(it.raised).max(from), over, until: over };
            if fault.from > fault.over {
                continue;
            }
            let place = (&it.finding.subject, family(it.finding.kind));
            let begins_anew = open
                .get(&place)
                .is_some_and(|cause| mended(past, &it.finding, cause.faults[0].past.raised, Some(it.raised)));
            if begins_anew {
                all.extend(open.remove(&place));
            }
            let cause = open.entry(place).or_insert(Self { system: past.system, faults: Vec::new() });
            cause.faults.push(fault);
        }
        all.extend(open.into_values());
        for last in all.iter_mut().filter_map(|cause| cause.faults.last_mut()) {
            if mended(past, &last.past.finding, last.past.raised, last.past.cleared) {
                last.until = to;
            }
        }
        all.into_iter()
    }

    pub(super) fn from(&self) -> Day {
        self.faults[0].from
    }

    pub(super) fn subject(&self) -> &'a Subject {
        &self.faults[0].past.finding.subject
    }
}

impl Fault<'_> {
    /// A basin that soaks slowly does its work: that foretells a fault and is none yet.
    pub(super) fn counts(&self) -> bool {
        self.past.finding.kind != FindingKind::SlowSoak
    }

    pub(super) fn is_flood(&self) -> bool {
        self.past.finding.kind == FindingKind::Flooding
    }
}

/// Kinds of finding that are signs of one thing, by one of them.
const fn family(kind: FindingKind) -> FindingKind {
    match kind {
        FindingKind::Flooding | FindingKind::Ponding | FindingKind::SlowSoak => FindingKind::Ponding,
        FindingKind::SensorSilent | FindingKind::SensorStuck | FindingKind::SensorImplausible => {
            FindingKind::SensorSilent
        }
        FindingKind::BlockedOutlet
        | FindingKind::UnevenSplit
        | FindingKind::NoWater
        | FindingKind::UnexpectedWater
        | FindingKind::BatteryLow => kind,
    }
}

/// Whether work that mends `finding` was done there from `from` on, and before `to` if it was over then.
fn mended(past: &Past<'_>, finding: &Finding, from: EventTime, to: Option<EventTime>) -> bool {
    let mends = |work: Option<Work>| {
        let kinds = TaskKind::ALL.into_iter().filter(|kind| kind.mends(finding.kind));
        kinds.map(TaskKind::work).any(|works| work.map_or(works.is_empty(), |work| works.contains(&work)))
    };
    past.done.iter().any(|done| {
        let then = done.at >= from && to.is_some_and(|to| done.at <= to);
        then && done.subject == finding.subject && mends(done.work)
    })
}

/// Days that faults stood if the cause of each was mended on its day, if on any.
pub(super) fn stood<'f>(causes: impl Iterator<Item = (&'f Cause<'f>, Option<Day>)>) -> (f64, f64) {
    let faults = causes.flat_map(|(cause, mended)| cause.faults.iter().map(move |fault| (fault, mended)));
    summed(faults.map(|(fault, mended)| (fault, mended.map_or(fault.until, |day| day.min(fault.until)))))
}

/// Days until these, and those of floods.
pub(super) fn summed<'f>(faults: impl Iterator<Item = (&'f Fault<'f>, Day)>) -> (f64, f64) {
    faults.filter(|(fault, _)| fault.counts()).fold((0.0, 0.0), |(all, floods), (fault, until)| {
        let days = (until.0 - fault.from.0).max(0) as f64;
        (all + days, floods + if fault.is_flood() { days } else { 0.0 })
    })
}
