//! All of it together.

use std::collections::{BTreeMap, BTreeSet};

use super::diary::Diary;
use super::place::{self, Placed};
use super::stab::{Group, Window, stab};
use super::{Job, Late, Plan, Visit};
use crate::model::Id;
use crate::upkeep::task::TaskKey;
use crate::upkeep::{Crew, Day};

/// Plans visits from `today` on: every job that falls due within the days planned ahead is in exactly one of them, and
/// jobs that fall due later join where a visit is made anyway. `before` is the plan that stood until now; its days
/// stand as long as they meet every due date with as few visits.
pub fn plan(jobs: &[Job], crew: &Crew, today: Day, before: &Plan) -> Plan {
    let horizon = today.plus(crew.ahead);
    let (must, may): (Vec<&Job>, Vec<&Job>) = jobs.iter().partition(|job| job.due <= horizon);
    let mut by_property: BTreeMap<&Id, Vec<Window<'_>>> = BTreeMap::new();
    for job in must {
        by_property.entry(&job.property).or_default().push(Window::of(job, crew.days, today));
    }
    let groups = by_property.into_iter().flat_map(|(property, windows)| {
        let kept = kept_days(before, property, crew, today);
        let groups = stab(windows, &kept).into_iter().flat_map(|group| split(group, crew));
        groups.map(|group| (property.clone(), group)).collect::<Vec<_>>()
    });
    let mut placed = place::place(groups.collect(), crew);
    join(&mut placed, may, crew);
    placed.sort_by(|a, b| (a.day, &a.property).cmp(&(b.day, &b.property)));
    let late = placed.iter().flat_map(|it| late(it)).collect();
    let (visits, next) = numbered(merged(placed), crew, before);
    Plan { visits, late, next }
}

/// Days of the plan before on which this property is still to be visited.
fn kept_days(before: &Plan, property: &Id, crew: &Crew, today: Day) -> Vec<Day> {
    let of = before.visits.iter().filter(|visit| visit.property == *property);
    let days: BTreeSet<Day> = of.map(|visit| visit.day).collect();
    days.into_iter().filter(|day| *day >= today && crew.days.has(*day)).collect()
}

/// Parts of a group that fit into a day each.
fn split<'j>(group: Group<'j>, crew: &Crew) -> Vec<Group<'j>> {
    let room = crew.minutes_a_day.saturating_sub(crew.travel).max(1);
    let mut parts: Vec<Vec<Window<'j>>> = Vec::new();
    let minutes = |part: &[Window<'j>]| part.iter().map(|window| window.job.minutes).sum::<u32>();
    for window in group.windows {
        match parts.last_mut() {
            Some(part) if minutes(part) + window.job.minutes <= room => part.push(window),
            Some(_) | None => parts.push(vec![window]),
        }
    }
    let wish = |at: usize| group.wish.filter(|_| at == 0);
    parts.into_iter().enumerate().map(|(at, part)| Group::of(part, wish(at))).collect()
}

/// Jobs that may wait join a visit that is made anyway, the first that they are worth doing on and that has time.
fn join<'j>(placed: &mut [Placed<'j>], may: Vec<&'j Job>, crew: &Crew) {
    let mut diary = Diary::new(crew);
    for it in placed.iter() {
        diary.add(it.day, &it.property, it.group.minutes());
    }
    let mut visits: BTreeMap<Id, Vec<usize>> = BTreeMap::new();
    for (at, it) in placed.iter().enumerate() {
        visits.entry(it.property.clone()).or_default().push(at);
    }
    for here in visits.values_mut() {
        here.sort_by_key(|at| placed[*at].day);
    }
    let mut may = may;
    may.sort_by(|a, b| (a.due, &a.key).cmp(&(b.due, &b.key)));
    for job in may {
        let found = visits.get(&job.property).into_iter().flatten().copied().find(|at| {
            let it = &placed[*at];
            it.day >= job.earliest && it.day <= job.due && diary.fits(it.day, (&job.property, job.minutes))
        });
        if let Some(at) = found {
            placed[at].group.windows.push(Window { job, from: placed[at].day, until: placed[at].day });
            diary.add(placed[at].day, &job.property, job.minutes);
        }
    }
}

fn late(placed: &Placed<'_>) -> Vec<Late> {
    let jobs = placed.group.jobs().filter(|job| placed.day > job.due);
    jobs.map(|job| Late { key: job.key.clone(), days: placed.day.0 - job.due.0 }).collect()
}

/// Groups that came to lie on one day at one property are one visit. `placed` is sorted by day and property.
fn merged(placed: Vec<Placed<'_>>) -> Vec<(Day, Id, Vec<&Job>)> {
    let mut visits: Vec<(Day, Id, Vec<&Job>)> = Vec::new();
    for it in placed {
        match visits.last_mut() {
            Some((day, property, jobs)) if *day == it.day && *property == it.property => {
                jobs.extend(it.group.jobs());
            }
            Some(_) | None => visits.push((it.day, it.property.clone(), it.group.jobs().collect())),
        }
    }
    for (.., jobs) in &mut visits {
        jobs.sort_by(|a, b| (a.due, &a.key).cmp(&(b.due, &b.key)));
    }
    visits
}

/// The visits with their numbers and times. One that shares a task with a visit of the plan before, or its property and
/// day, keeps that number.
fn numbered(visits: Vec<(Day, Id, Vec<&Job>)>, crew: &Crew, before: &Plan) -> (Vec<Visit>, u64) {
    let mut next = before.next.max(1);
    let mut free: BTreeMap<&Id, Vec<&Visit>> = BTreeMap::new();
    let mut of_task: BTreeMap<&TaskKey, u64> = BTreeMap::new();
    for visit in &before.visits {
        free.entry(&visit.property).or_default().push(visit);
        of_task.extend(visit.tasks.iter().map(|task| (task, visit.no)));
    }
    let mut done = Vec::new();
    let mut clock = Clock::new(crew);
    for (day, property, jobs) in visits {
        let tasks: Vec<TaskKey> = jobs.iter().map(|job| job.key.clone()).collect();
        let minutes = jobs.iter().map(|job| job.minutes).sum();
        let earlier = free.get_mut(&property).and_then(|visits| {
            let mut shared: BTreeMap<u64, usize> = BTreeMap::new();
            tasks
                .iter()
                .filter_map(|task| of_task.get(task))
                .for_each(|no| *shared.entry(*no).or_default() += 1);
            same(visits, day, &shared)
        });
        let (no, moved, kept) = if let Some(visit) = earlier {
            let kept = visit.day == day;
            (visit.no, visit.moved + u32::from(!kept), kept)
        } else {
            next += 1;
            (next - 1, 0, false)
        };
        let starts_at = clock.start(crew, day, &property, minutes);
        done.push(Visit { no, moved, property, day, starts_at, minutes, tasks, kept });
    }
    (done, next)
}

/// Takes the visit that lies on that day, or shares most tasks: `shared` counts them by the visit's number.
fn same<'v>(visits: &mut Vec<&'v Visit>, day: Day, shared: &BTreeMap<u64, usize>) -> Option<&'v Visit> {
    let alike = |at: &usize| (visits[*at].day == day, shared.get(&visits[*at].no).copied().unwrap_or(0));
    let best = (0..visits.len()).filter(|at| alike(at) > (false, 0)).max_by_key(alike)?;
    Some(visits.remove(best))
}

/// The crew's day goes on.
struct Clock<'c> {
    day: Option<Day>,
    minutes: u32,
    diary: Diary<'c>,
}

impl<'c> Clock<'c> {
    fn new(crew: &'c Crew) -> Self {
        Self { day: None, minutes: 0, diary: Diary::new(crew) }
    }

    /// When the work at `property` begins, which takes so long: after the way from what came before on that day. The
    /// day itself begins at the first property.
    fn start(&mut self, crew: &Crew, day: Day, property: &Id, minutes: u32) -> u32 {
        if self.day == Some(day) {
            self.minutes += self.diary.way(day, property);
        } else {
            (self.day, self.minutes) = (Some(day), crew.starts_at);
        }
        let starts_at = self.minutes;
        self.diary.add(day, property, minutes);
        self.minutes += minutes;
        starts_at
    }
}
