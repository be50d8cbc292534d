//! The past once more: what it would have taken by plan, and what by the calendar.
//!
//! Both are played through over the same findings and forecasts, each day knowing only what was known then. A fault
//! stands from when it was found until it went away by itself, the visit that mends it, or the end of the period.
//! That a visit mends what it is made for is assumed of both.

use std::collections::{BTreeMap, BTreeSet};

use super::task::{TaskKey, TaskKind};
use super::{
    Crew, Day, Dose, Facts, Job, LastDone, Outlook, Plan, Proof, Rules, Standing, Task, plan, tasks,
};
use crate::model::{EventTime, Finding, FindingKind, Id, Severity, Span, Subject, System, Work};

/// Doses of late that say how outlets run.
const OF_LATE: Span = Span::from_days(14);
/// By the calendar nobody looks in between, but a household calls when its yard stands under water this long.
const COMPLAINT: i64 = 3;

/// A finding of the past.
#[derive(Clone, Debug, PartialEq)]
pub struct PastFinding {
    /// The finding.
    pub finding: Finding,
    /// When it was found.
    pub raised: EventTime,
    /// When it was over, if it was.
    pub cleared: Option<EventTime>,
}

/// What the ledger knows of one system's past.
#[derive(Clone, Debug)]
pub struct Past<'a> {
    /// The system.
    pub system: &'a System,
    /// Findings that stood in the period.
    pub findings: Vec<PastFinding>,
    /// Forecasts and when they were made, in order.
    pub outlooks: Vec<(EventTime, Outlook)>,
    /// Doses, in order.
    pub doses: Vec<Dose>,
    /// Work before the period.
    pub last: Vec<LastDone>,
    /// Since when it is watched.
    pub since: EventTime,
}

/// One way to look after the systems.
#[derive(Clone, Debug, PartialEq)]
pub struct Side {
    /// Days between the rounds of a calendar; none for the plan.
    pub every: Option<i64>,
    /// Visits made.
    pub visits: usize,
    /// Of these, visits because a household complained of water.
    pub complaints: usize,
    /// Days that faults stood, each counted by itself.
    pub fault_days: f64,
    /// Of these, days of floods.
    pub flood_days: f64,
}

/// The plan beside calendars.
#[derive(Clone, Debug, PartialEq)]
pub struct Comparison {
    /// Properties.
    pub properties: usize,
    /// Systems.
    pub systems: usize,
    /// Faults found.
    pub faults: usize,
    /// By plan first, then by each calendar.
    pub sides: Vec<Side>,
}

/// First and last day of what is compared.
pub type Course = (Day, Day);

/// Plays the past through, by plan and by each calendar with this many days between its rounds.
pub fn compare(
    past: &[Past<'_>],
    rules: &Rules,
    crew: &Crew,
    (from, to): Course,
    calendars: &[i64],
) -> Comparison {
    let faults: Vec<Fault<'_>> = past.iter().flat_map(|it| Fault::all(it, (from, to))).collect();
    let properties: BTreeSet<&Id> = past.iter().map(|it| &it.system.property).collect();
    let by_plan = Played::new(past, &faults).play(rules, crew, (from, to));
    let mut sides = vec![by_plan];
    sides.extend(calendars.iter().map(|every| by_calendar(&faults, &properties, (from, to), *every)));
    Comparison { properties: properties.len(), systems: past.len(), faults: faults.len(), sides }
}

/// A fault of the period, in days of its yard.
struct Fault<'a> {
    system: &'a System,
    past: &'a PastFinding,
    from: Day,
    until: Day,
}

impl<'a> Fault<'a> {
    fn all(past: &'a Past<'_>, (from, to): Course) -> impl Iterator<Item = Self> {
        let day = |at| Day::of(at, &past.system.zone);
        past.findings.iter().filter(|it| it.finding.severity > Severity::Info).filter_map(move |it| {
            let until = it.cleared.map_or(to, day).min(to);
            let begins = day(it.raised).max(from);
            (begins <= until).then_some(Self { system: past.system, past: it, from: begins, until })
        })
    }

    fn is_flood(&self) -> bool {
        self.past.finding.kind == FindingKind::Flooding
    }
}

/// Days that faults stood if each was mended on its day, if on any.
fn stood<'f>(faults: impl Iterator<Item = (&'f Fault<'f>, Option<Day>)>) -> (f64, f64) {
    faults.fold((0.0, 0.0), |(all, floods), (fault, mended)| {
        let until = mended.map_or(fault.until, |day| day.min(fault.until));
        let days = (until.0 - fault.from.0).max(0) as f64;
        (all + days, floods + if fault.is_flood() { days } else { 0.0 })
    })
}

fn by_calendar(faults: &[Fault<'_>], properties: &BTreeSet<&Id>, (from, to): Course, every: i64) -> Side {
    let rounds = (to.0 - from.0) / every.max(1);
    let round_after = |day: Day| from.plus(((day.0 - from.0) / every + 1) * every);
    let mut calls: BTreeSet<(&Id, Day)> = BTreeSet::new();
    for fault in faults.iter().filter(|fault| fault.is_flood()) {
        let call = fault.from.plus(COMPLAINT);
        if call < round_after(fault.from) && call <= fault.until {
            calls.insert((&fault.system.property, call));
        }
    }
    let mended = |fault: &Fault<'_>| {
        let called = calls.iter().filter(|(at, day)| **at == fault.system.property && *day >= fault.from);
        called
            .map(|(_, day)| *day)
            .min()
            .map_or(round_after(fault.from), |day| day.min(round_after(fault.from)))
    };
    let (fault_days, flood_days) = stood(faults.iter().map(|fault| (fault, Some(mended(fault)))));
    let visits = properties.len() * usize::try_from(rounds).unwrap_or(0) + calls.len();
    Side { every: Some(every), visits, complaints: calls.len(), fault_days, flood_days }
}

/// The past by plan, while it is played.
struct Played<'a> {
    past: &'a [Past<'a>],
    faults: &'a [Fault<'a>],
    /// By fault: the day on which it was mended.
    mended: Vec<Option<Day>>,
    /// By system: work done, proofs given, basins renewed.
    last: Vec<Vec<LastDone>>,
    proofs: Vec<Vec<Proof>>,
    renewed: Vec<BTreeSet<Id>>,
}

impl<'a> Played<'a> {
    fn new(past: &'a [Past<'a>], faults: &'a [Fault<'a>]) -> Self {
        Self {
            past,
            faults,
            mended: vec![None; faults.len()],
            last: past.iter().map(|it| it.last.clone()).collect(),
            proofs: vec![Vec::new(); past.len()],
            renewed: vec![BTreeSet::new(); past.len()],
        }
    }

    fn play(mut self, rules: &Rules, crew: &Crew, (from, to): Course) -> Side {
        let mut standing = Plan::default();
        let mut visits = 0;
        for today in (from.0..=to.0).map(Day).filter(|day| crew.days.has(*day)) {
            let all: BTreeMap<TaskKey, (usize, Task)> =
                (0..self.past.len()).flat_map(|at| self.tasks(at, rules, today)).collect();
            let jobs: Vec<Job> =
                all.values().map(|(at, task)| Job::of(task, &self.past[*at].system.zone)).collect();
            standing = plan(&jobs, crew, today, &standing);
            for visit in standing.visits.iter().filter(|visit| visit.day == today) {
                visits += 1;
                for key in &visit.tasks {
                    if let Some((at, _)) = all.get(key) {
                        self.done(*at, key, today);
                    }
                }
            }
        }
        let (fault_days, flood_days) = stood(self.faults.iter().zip(self.mended.iter().copied()));
        Side { every: None, visits, complaints: 0, fault_days, flood_days }
    }

    fn tasks(&self, at: usize, rules: &Rules, today: Day) -> Vec<(TaskKey, (usize, Task))> {
        let past = &self.past[at];
        let now = today.at(6 * 60, &past.system.zone);
        let standing: Vec<Standing> = self
            .faults
            .iter()
            .zip(&self.mended)
            .filter(|(fault, mended)| {
                fault.system.id == past.system.id
                    && mended.is_none()
                    && fault.from <= today
                    && fault.until >= today
            })
            .map(|(fault, _)| Standing { finding: fault.past.finding.clone(), since: fault.past.raised })
            .collect();
        let mut outlooks: BTreeMap<&Id, &Outlook> = BTreeMap::new();
        for (made, outlook) in past.outlooks.iter().take_while(|(made, _)| *made <= now) {
            let _ = made;
            outlooks.insert(&outlook.basin, outlook);
        }
        let outlooks: Vec<Outlook> =
            outlooks.into_values().filter(|it| !self.renewed[at].contains(&it.basin)).cloned().collect();
        let upto = past.doses.partition_point(|dose| dose.at < now);
        let from = past.doses.partition_point(|dose| dose.at < now - OF_LATE);
        let facts = Facts {
            system: past.system,
            standing: &standing,
            outlooks: &outlooks,
            last: &self.last[at],
            proofs: &self.proofs[at],
            doses: &past.doses[from..upto],
            diverter_turned: None,
            since: past.since,
            now,
        };
        tasks(&facts, rules).into_iter().map(|task| (task.key.clone(), (at, task))).collect()
    }

    fn done(&mut self, at: usize, key: &TaskKey, today: Day) {
        let when = today.at(12 * 60, &self.past[at].system.zone);
        let mut note = |work: Option<Work>| {
            self.last[at].push(LastDone { subject: key.subject.clone(), work, at: when });
        };
        note(None);
        key.kind.work().iter().for_each(|work| note(Some(*work)));
        if let (TaskKind::FlowTest, Subject::Splitter(splitter)) = (key.kind, &key.subject) {
            self.proofs[at].push(Proof { splitter: splitter.clone(), at: when });
        }
        if let (TaskKind::RenewMulch | TaskKind::LoosenBasin, Subject::Basin(basin)) =
            (key.kind, &key.subject)
        {
            self.renewed[at].insert(basin.clone());
        }
        for (fault, mended) in self.faults.iter().zip(&mut self.mended) {
            let here = fault.system.id == key.system && fault.past.finding.subject == key.subject;
            if here && mended.is_none() && fault.from <= today && key.kind.mends(fault.past.finding.kind) {
                *mended = Some(today);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::upkeep::samples::{finding, yard};

    const FROM: Day = Day(20_454); // 1 January 2026, a Thursday
    const TO: Day = Day(20_454 + 364);

    fn past(system: &System, findings: Vec<PastFinding>) -> Past<'_> {
        let last = system.basins.iter().map(|basin| LastDone {
            subject: Subject::Basin(basin.id.clone()),
            work: Some(Work::MulchRenewed),
            at: FROM.plus(-10).at(0, &system.zone),
        });
        let since = FROM.plus(-10).at(0, &system.zone);
        Past { system, findings, outlooks: Vec::new(), doses: Vec::new(), last: last.collect(), since }
    }

    #[test]
    fn a_fault_stands_until_the_visit_that_it_brings_or_the_next_round() {
        let system = yard();
        let raised = FROM.plus(40).at(8 * 60, &system.zone); // Tuesday 10 February
        let blocked = finding(FindingKind::BlockedOutlet, Subject::Basin(Id::new("quince").unwrap()));
        let past = [past(&system, vec![PastFinding { finding: blocked, raised, cleared: None }])];
        let found = compare(&past, &Rules::default(), &Crew::default(), (FROM, TO), &[365, 91]);
        let [plan, yearly, quarterly] = &found.sides[..] else { panic!("{found:?}") };
        assert!(plan.fault_days <= 7.0, "{plan:?}");
        assert_eq!((yearly.visits, yearly.fault_days), (0, 324.0));
        assert_eq!((quarterly.visits, quarterly.fault_days), (4, 51.0));
        assert!(plan.visits < quarterly.visits, "{plan:?}");
    }

    #[test]
    fn a_flood_brings_a_call_where_nobody_watches() {
        let system = yard();
        let raised = FROM.plus(40).at(8 * 60, &system.zone);
        let flood = finding(FindingKind::Flooding, Subject::Basin(Id::new("quince").unwrap()));
        let past = [past(&system, vec![PastFinding { finding: flood, raised, cleared: None }])];
        let found = compare(&past, &Rules::default(), &Crew::default(), (FROM, TO), &[365]);
        assert_eq!((found.sides[1].complaints, found.sides[1].flood_days), (1, 3.0));
        assert!(found.sides[0].flood_days <= 1.0, "{found:?}");
    }
}
