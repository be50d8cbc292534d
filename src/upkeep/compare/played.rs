//! The past by plan.

use std::collections::{BTreeMap, BTreeSet};

use super::cause::{Cause, stood};
use super::sides::CameTo;
use super::{Course, Past};
use crate::model::{EventTime, FindingKind, Id, Span, Subject, Work};
use crate::upkeep::{
    Crew, Day, Facts, Job, LastDone, Outlook, PastFlood, Plan, Rules, Standing, Task, TaskKey, TaskKind,
    Tested, plan, tasks,
};

/// Doses of late that say how outlets run.
const OF_LATE: Span = Span::from_days(14);

/// The past by plan, while it is played.
pub(super) struct Played<'a> {
    past: &'a [Past<'a>],
    causes: &'a [Cause<'a>],
    /// By cause: the day on which it was mended.
    mended: Vec<Option<Day>>,
    /// By system: work done, tests made, basins renewed.
    last: Vec<Vec<LastDone>>,
    tests: Vec<Vec<Tested>>,
    renewed: Vec<BTreeSet<Id>>,
}

impl<'a> Played<'a> {
    pub(super) fn new(past: &'a [Past<'a>], causes: &'a [Cause<'a>]) -> Self {
        Self {
            past,
            causes,
            mended: vec![None; causes.len()],
            last: past.iter().map(|it| it.last.clone()).collect(),
            tests: vec![Vec::new(); past.len()],
            renewed: vec![BTreeSet::new(); past.len()],
        }
    }

    pub(super) fn play(mut self, rules: &Rules, crew: &Crew, (from, to): Course) -> CameTo {
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
        let days = stood(self.causes.iter().zip(self.mended.iter().copied()));
        CameTo { visits, complaints: 0, days }
    }

    fn tasks(&self, at: usize, rules: &Rules, today: Day) -> Vec<(TaskKey, (usize, Task))> {
        let past = &self.past[at];
        let now = today.at(6 * 60, &past.system.zone);
        let standing = self.standing(&past.system.id, (today, now));
        let mut outlooks: BTreeMap<&Id, &Outlook> = BTreeMap::new();
        let known = || past.outlooks.iter().take_while(|(made, _)| *made <= now);
        for (_, outlook) in known() {
            outlooks.insert(&outlook.basin, outlook);
        }
        let mut outlooks: Vec<Outlook> =
            outlooks.into_values().filter(|it| !self.renewed[at].contains(&it.basin)).cloned().collect();
        for outlook in &mut outlooks {
            outlook.remember(&standing, known().map(|(made, outlook)| (*made, outlook)));
        }
        let upto = past.doses.partition_point(|dose| dose.at < now);
        let from = past.doses.partition_point(|dose| dose.at < now - OF_LATE);
        let facts = Facts {
            system: past.system,
            standing: &standing,
            past_floods: &self.past_floods(&past.system.id, (today, now)),
            outlooks: &outlooks,
            last: &self.last[at],
            tests: &self.tests[at],
            doses: &past.doses[from..upto],
            diverter_turned: None,
            since: past.since,
            now,
        };
        tasks(&facts, rules).into_iter().map(|task| (task.key.clone(), (at, task))).collect()
    }

    /// What is known at `now` to stand at `system` on this day, as nobody has mended it yet.
    fn standing(&self, system: &Id, (today, now): (Day, EventTime)) -> Vec<Standing> {
        let causes = self.causes.iter().zip(&self.mended);
        let unmended = causes.filter(|(cause, mended)| cause.system.id == *system && mended.is_none());
        let faults = unmended.flat_map(|(cause, _)| &cause.faults);
        faults
            .filter(|fault| fault.past.raised <= now && fault.until >= today)
            .map(|fault| Standing { finding: fault.past.finding.clone(), since: fault.past.raised })
            .collect()
    }

    /// Floods of late that were over by this day, with nothing mended.
    fn past_floods(&self, system: &Id, (today, now): (Day, EventTime)) -> Vec<PastFlood> {
        let causes = self.causes.iter().zip(&self.mended);
        let unmended = causes.filter(|(cause, mended)| cause.system.id == *system && mended.is_none());
        let over = unmended.flat_map(|(cause, _)| &cause.faults).filter(|fault| {
            fault.past.finding.kind == FindingKind::Flooding
                && fault.past.raised <= now
                && fault.until < today
        });
        over.filter_map(|fault| {
            let until = fault.past.cleared.filter(|until| now - *until <= PastFlood::COUNTS)?;
            Some(PastFlood { basin: fault.past.finding.subject.clone(), since: fault.past.raised, until })
        })
        .collect()
    }

    fn done(&mut self, at: usize, key: &TaskKey, today: Day) {
        // Each kind of work at a minute of its own, as records are told apart.
        let when = today.at(12 * 60 + key.kind as u32, &self.past[at].system.zone);
        let mut note = |work: Option<Work>| {
            self.last[at].push(LastDone { subject: key.subject.clone(), work, at: when });
        };
        note(None);
        key.kind.work().iter().for_each(|work| note(Some(*work)));
        if let (TaskKind::FlowTest, Subject::Splitter(splitter)) = (key.kind, &key.subject) {
            self.tests[at].push(Tested { splitter: splitter.clone(), at: when, even: true });
        }
        if let (TaskKind::RenewMulch | TaskKind::LoosenBasin, Subject::Basin(basin)) =
            (key.kind, &key.subject)
        {
            self.renewed[at].insert(basin.clone());
        }
        for (cause, mended) in self.causes.iter().zip(&mut self.mended) {
            let here = cause.system.id == key.system && *cause.subject() == key.subject;
            let mends = cause.faults.iter().any(|fault| key.kind.mends(fault.past.finding.kind));
            if here && mends && mended.is_none() && cause.from() <= today {
                *mended = Some(today);
            }
        }
    }
}
