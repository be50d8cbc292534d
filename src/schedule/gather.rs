//! What the ledger knows, as the planner takes it.

use std::collections::BTreeMap;
use std::sync::Arc;

use jiff::tz::TimeZone;

use crate::flowtest::Verdict;
use crate::ledger::{ForecastRecord, LastService, LedgerFault, ServiceFilter, StoredFinding, View};
use crate::model::{EventTime, FindingKind, Id, Place, Quantity, Span, Subject, System, Work};
use crate::upkeep::{
    Comparison, Crew, Day, Dose, Earlier, Facts, Job, LastDone, Outlook, Past, PastFinding, PastFlood, Plan,
    Rules, Standing, Task, TaskKey, Tested, Way, compare, plan, shows_outlet, tasks,
};

/// Doses of late that say how outlets run.
const OF_LATE: Span = Span::from_days(14);
/// Work is proved within this, by one of this many tests.
const TESTED: Span = Span::from_days(90);
const TESTS: usize = 50;
/// Findings of one system that are looked at in the past.
const FINDINGS: usize = 2_000;
/// Records of one basin among which the last look at its outlet is sought.
const LOOKS: usize = 50;
/// Records of one system that are looked at in the past.
const RECORDS: usize = 2_000;

/// Tasks and visits as of one moment.
#[derive(Clone, Debug, Default)]
pub struct Upkeep {
    /// When they were worked out.
    pub made: Option<EventTime>,
    /// Every task, by what it is.
    pub tasks: BTreeMap<TaskKey, Task>,
    /// The visits.
    pub plan: Plan,
    /// The last day that the plan looks ahead to; none without a system.
    pub until: Option<Day>,
}

/// What is known of all systems.
#[derive(Debug)]
pub struct Known {
    standing: BTreeMap<Id, Vec<Standing>>,
    past_floods: BTreeMap<Id, Vec<PastFlood>>,
    outlooks: BTreeMap<Id, Vec<Outlook>>,
    last: BTreeMap<Id, Vec<LastDone>>,
    turned: BTreeMap<Id, EventTime>,
}

impl Known {
    /// Reads what is known of all systems at `now`.
    ///
    /// # Errors
    /// The ledger cannot be read.
    pub fn read(view: &View, now: EventTime) -> Result<Self, LedgerFault> {
        let mut known = Self {
            standing: BTreeMap::new(),
            past_floods: BTreeMap::new(),
            outlooks: BTreeMap::new(),
            last: BTreeMap::new(),
            turned: view.diverters_turned(now)?,
        };
        for StoredFinding { system, raised_at, finding, .. } in view.findings_open()? {
            known.standing.entry(system).or_default().push(Standing { finding, since: raised_at });
        }
        for StoredFinding { system, raised_at, cleared_at, finding, .. } in
            view.floods_over(now - PastFlood::COUNTS)?
        {
            let over = cleared_at.map(|until| PastFlood { basin: finding.subject, since: raised_at, until });
            known.past_floods.entry(system).or_default().extend(over);
        }
        for (system, record) in view.forecasts()? {
            let mut newest = outlook(record);
            let standing = known.standing.get(&system).map_or(&[][..], Vec::as_slice);
            if standing.iter().any(|it| it.finding.kind == FindingKind::SlowSoak) {
                let before = view.forecasts_of(&system, &newest.basin, newest.made - Outlook::RECENT, now)?;
                let before: Vec<_> =
                    before.into_iter().map(|record| (record.made, outlook(record))).collect();
                newest.remember(standing, before.iter().map(|(made, outlook)| (*made, outlook)));
            }
            newest.week_ago = week_before(view, &system, &newest)?;
            known.outlooks.entry(system).or_default().push(newest);
        }
        for LastService { system, subject, work, at, .. } in view.last_services()? {
            known.last.entry(system).or_default().push(LastDone { subject, work, at });
        }
        for (system, last) in &mut known.last {
            for outlook in known.outlooks.get_mut(system).into_iter().flatten() {
                outlook.forget_old_mulch(last);
            }
            remember_looks(view, system, last)?;
        }
        Ok(known)
    }

    /// The tasks of `system`.
    fn tasks(
        &self,
        view: &View,
        system: &System,
        rules: &Rules,
        now: EventTime,
    ) -> Result<Vec<Task>, LedgerFault> {
        let of = |map: &BTreeMap<Id, Vec<_>>| map.get(&system.id).cloned().unwrap_or_default();
        let doses = doses(view, system, now - OF_LATE, now)?;
        let facts = Facts {
            system,
            standing: self.standing.get(&system.id).map_or(&[], Vec::as_slice),
            past_floods: self.past_floods.get(&system.id).map_or(&[], Vec::as_slice),
            outlooks: self.outlooks.get(&system.id).map_or(&[], Vec::as_slice),
            last: &of(&self.last),
            tests: &tests(view, &system.id, now)?,
            doses: &doses,
            diverter_turned: self.turned.get(&system.id).copied(),
            since: since(view, system, now)?,
            now,
        };
        Ok(tasks(&facts, rules))
    }
}

/// What was expected a week before `newest`.
fn week_before(view: &View, system: &Id, newest: &Outlook) -> Result<Option<Earlier>, LedgerFault> {
    let (least, most) = Outlook::WEEK_AGO;
    let (from, to) = (newest.made - most, newest.made - least + Span::SECOND);
    let before = view.forecasts_of(system, &newest.basin, from, to)?.pop();
    Ok(before.map(|record| Earlier { made: record.made, due: record.due }))
}

/// Adds the last look at each basin whose newest record is of other work: of each part, the ledger tells the newest only.
fn remember_looks(view: &View, system: &Id, last: &mut Vec<LastDone>) -> Result<(), LedgerFault> {
    let shows = |works: &[Work]| works.is_empty() || works.iter().copied().any(shows_outlet);
    let newest: Vec<_> = last.iter().filter(|it| it.work.is_none()).cloned().collect();
    for LastDone { subject, at, .. } in newest {
        let works: Vec<_> =
            last.iter().filter(|it| it.subject == subject && it.at == at).filter_map(|it| it.work).collect();
        if !matches!(subject, Subject::Basin(_)) || shows(&works) {
            continue;
        }
        let filter = ServiceFilter {
            systems: Some(vec![system.clone()]),
            subject: Some(subject.clone()),
            to: Some(at),
            ..ServiceFilter::default()
        };
        let mut older = view.services(&filter, LOOKS)?.into_iter().map(|stored| stored.record);
        let look = older.find(|record| record.at < at && shows(&record.work));
        last.extend(look.map(|record| LastDone { subject, work: None, at: record.at }));
    }
    Ok(())
}

/// Works out what is to be done at `systems`, and in which visits, keeping to `before` where that costs nothing.
///
/// # Errors
/// The ledger cannot be read.
pub fn work_out(
    view: &View,
    systems: &[Arc<System>],
    (rules, crew): (&Rules, &Crew),
    before: &Plan,
    now: EventTime,
) -> Result<Upkeep, LedgerFault> {
    let known = Known::read(view, now)?;
    let (mut all, mut jobs) = (Vec::new(), Vec::new());
    let mut today = None;
    for system in systems {
        let here = Day::of(now, &system.zone);
        today = Some(today.map_or(here, |day: Day| day.min(here)));
        for task in known.tasks(view, system, rules, now)? {
            jobs.push(Job::of(&task, &system.zone));
            all.push((task.key.clone(), task));
        }
    }
    let plan = today.map_or_else(Plan::default, |today| plan(&jobs, crew, today, before));
    let until = today.map(|today| today.plus(crew.ahead));
    // Made of all at once, it has no empty places.
    Ok(Upkeep { made: Some(now), tasks: all.into_iter().collect(), plan, until })
}

/// Systems that were first heard after this part of the time are left out of a comparison.
const LATE: f64 = 0.1;

/// The last `days` until `now` of `systems`, as far as they were watched, in each of these ways.
///
/// # Errors
/// The ledger cannot be read.
pub fn compared<'w>(
    view: &View,
    systems: &[Arc<System>],
    (now, days): (EventTime, i64),
    ways: &[Way<'w>],
) -> Result<Comparison<'w>, LedgerFault> {
    let watched: Vec<(EventTime, &Arc<System>)> = systems
        .iter()
        .map(|system| Ok((since(view, system, now)?, system)))
        .collect::<Result<_, LedgerFault>>()?;
    let (from, latest) = begins(watched.iter().map(|(since, _)| *since), now, Span::from_days(days));
    let there =
        watched.iter().filter(|(since, _)| *since <= latest && *since < now).map(|(_, system)| *system);
    let past: Vec<_> = there.map(|it| past(view, it, (from, now))).collect::<Result<_, _>>()?;
    let zone = systems.first().map_or(TimeZone::UTC, |system| system.zone.clone());
    let told = compare(&past, (Day::of(from, &zone), Day::of(now, &zone)), ways);
    Ok(Comparison { left_out: systems.len() - told.systems, ..told })
}

/// When a comparison of at most `most` until `now` begins, and until when a system must have been heard to be in it.
/// What was not watched cannot be compared: neither days before the first system nor systems that came late.
fn begins(
    watched_since: impl Iterator<Item = EventTime>,
    now: EventTime,
    most: Span,
) -> (EventTime, EventTime) {
    let first = watched_since.min().unwrap_or(now);
    let from = first.max(now - most);
    (from, from + (now - from).scaled(LATE))
}

/// What the ledger knows of the past of `system` in `from..to`.
///
/// # Errors
/// The ledger cannot be read.
fn past<'a>(
    view: &View,
    system: &'a System,
    (from, to): (EventTime, EventTime),
) -> Result<Past<'a>, LedgerFault> {
    let id = &system.id;
    let findings = view.findings_within(id, from, to, FINDINGS)?.into_iter();
    let findings =
        findings.map(|it| PastFinding { finding: it.finding, raised: it.raised_at, cleared: it.cleared_at });
    let mut outlooks = Vec::new();
    for basin in &system.basins {
        let records = view.forecasts_of(id, &basin.id, from, to)?;
        outlooks.extend(records.into_iter().map(|record| (record.made, outlook(record))));
    }
    outlooks.sort_by_key(|(made, _)| *made);
    let filter = ServiceFilter { systems: Some(vec![id.clone()]), to: Some(to), ..ServiceFilter::default() };
    let records = view.services(&filter, RECORDS)?;
    let done = records.into_iter().flat_map(|stored| {
        let (subject, at) = (stored.record.subject, stored.record.at);
        let works: Vec<Option<Work>> = stored.record.work.into_iter().map(Some).chain([None]).collect();
        works.into_iter().map(move |work| LastDone { subject: Subject::clone(&subject), work, at })
    });
    let (done, last) = done.partition(|done| done.at >= from);
    Ok(Past {
        system,
        findings: findings.collect(),
        outlooks,
        doses: doses(view, system, from, to)?,
        last,
        done,
        since: since(view, system, to)?,
    })
}

fn outlook(record: ForecastRecord) -> Outlook {
    let ForecastRecord { basin, made, due, earliest, latest, litres, mulch_left, .. } = record;
    Outlook { basin, made, due, earliest, latest, soonest: due, litres, mulch_left, week_ago: None }
}

fn doses(view: &View, system: &System, from: EventTime, to: EventTime) -> Result<Vec<Dose>, LedgerFault> {
    // Floats alone show that water stands, not how much came: then every share is told as the design has it.
    let has_probe = |ix| system.find_sensor(Place::Basin(ix), Quantity::Moisture).is_some();
    let is_measured = system.basins.len() == 1 || system.basin_ixs().any(has_probe);
    let told = |shares| if is_measured { shares } else { BTreeMap::new() };
    let doses = view.doses(&system.id, from, to)?.into_iter();
    Ok(doses.map(|dose| Dose { at: dose.at, shares: told(dose.shares) }).collect())
}

/// What flow tests said of splitters of late.
fn tests(view: &View, system: &Id, now: EventTime) -> Result<Vec<Tested>, LedgerFault> {
    let tests = view.flow_tests(system, now - TESTED, now, TESTS)?;
    let over = tests.into_iter().filter_map(|test| Some((test.ended?.0, test.outcome?)));
    let said = over.flat_map(|(at, outcome)| {
        outcome.splits.into_iter().map(move |split| Tested {
            splitter: split.splitter,
            at,
            even: split.verdict == Verdict::Even,
        })
    });
    Ok(said.collect())
}

/// Since when a system is watched.
fn since(view: &View, system: &System, now: EventTime) -> Result<EventTime, LedgerFault> {
    Ok(view.heard_since(&system.id)?.unwrap_or(now).min(now))
}

#[cfg(test)]
mod tests {
    use super::*;

    const DAY: fn(i64) -> Span = Span::from_days;

    #[test]
    fn a_comparison_begins_with_the_first_system_and_leaves_late_ones_out() {
        let now: EventTime = "2026-11-26T12:00:00Z".parse().unwrap();
        let begins = |since: &[i64], most| begins(since.iter().map(|days| now - DAY(*days)), now, DAY(most));
        // All that is recorded, where that is less than was asked for; whoever came in the first tenth counts.
        assert_eq!(begins(&[20, 60, 55], 365), (now - DAY(60), now - DAY(54)));
        // What lies further back than was asked for is not looked at, however long systems were watched.
        assert_eq!(begins(&[900, 400], 365), (now - DAY(365), now - DAY(365) + DAY(365).scaled(LATE)));
        // Nothing was heard yet: no time at all.
        assert_eq!(begins(&[], 365), (now, now));
        assert_eq!(begins(&[0], 365), (now, now));
    }
}
