//! The fewest days that meet every window of one property.

use super::Job;
use crate::upkeep::task::TaskKey;
use crate::upkeep::{Crew, Day, WorkingDays};

/// A job on the working days that are left for it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Window<'j> {
    pub(super) job: &'j Job,
    /// First working day from today on.
    pub(super) from: Day,
    /// Last working day in time; the first possible one where none is.
    pub(super) until: Day,
}

/// Jobs of one property that share a day.
#[derive(Clone, Debug)]
pub(super) struct Group<'j> {
    pub(super) windows: Vec<Window<'j>>,
    /// First day on which all can be done.
    pub(super) from: Day,
    /// Last day on which all are in time.
    pub(super) until: Day,
    /// The day of the plan before that it keeps, if it can.
    pub(super) wish: Option<Day>,
}

impl<'j> Window<'j> {
    pub(super) fn of(job: &'j Job, days: WorkingDays, today: Day) -> Self {
        let from = days.from(job.earliest.min(job.due).max(today));
        Self { job, from, until: days.until(job.due).max(from) }
    }

    fn holds(&self, day: Day) -> bool {
        (self.from..=self.until).contains(&day)
    }
}

impl<'j> Group<'j> {
    pub(super) fn of(windows: Vec<Window<'j>>, wish: Option<Day>) -> Self {
        Self {
            from: windows.iter().map(|window| window.from).max().unwrap_or(Day(0)),
            until: windows.iter().map(|window| window.until).min().unwrap_or(Day(0)),
            wish,
            windows,
        }
    }

    /// What tells it apart from others that are alike otherwise.
    pub(super) fn first(&self) -> Option<&'j TaskKey> {
        self.jobs().map(|job| &job.key).next()
    }

    /// Working days on which all can be done in time.
    pub(super) fn open_days(&self, crew: &Crew) -> impl Iterator<Item = Day> + use<> {
        crew.open_days((self.from, self.until))
    }

    pub(super) fn jobs(&self) -> impl Iterator<Item = &'j Job> + use<'j, '_> {
        self.windows.iter().map(|window| window.job)
    }

    /// Each job by itself, the last due in front.
    pub(super) fn apart(&self) -> impl Iterator<Item = Self> + use<'j> {
        let windows = self.windows.clone();
        windows.into_iter().rev().map(|window| Self::of(vec![window], None))
    }

    pub(super) fn minutes(&self) -> u32 {
        self.jobs().map(|job| job.minutes).sum()
    }

    pub(super) fn mends(&self) -> bool {
        self.jobs().any(|job| job.mends)
    }
}

/// The fewest groups of `windows` that can each be done on one day. Days of the plan before (`kept`) stand where that
/// costs no further visit.
pub(super) fn stab<'j>(mut windows: Vec<Window<'j>>, kept: &[Day]) -> Vec<Group<'j>> {
    windows.sort_by(|a, b| (a.until, a.from, &a.job.key).cmp(&(b.until, b.from, &b.job.key)));
    let fewest = greedy(&windows);
    let (stand, rest) = by_days(windows, kept);
    let rest = greedy(&rest);
    if stand.len() + rest.len() <= fewest.len() { stand.into_iter().chain(rest).collect() } else { fewest }
}

/// The classic choice, exact on a line: the window that ends first must be met by some day; its last day meets the
/// most others. `windows` are sorted by their end.
fn greedy<'j>(windows: &[Window<'j>]) -> Vec<Group<'j>> {
    let mut groups = Vec::new();
    let mut left: Vec<Window<'j>> = windows.to_vec();
    while let Some(first) = left.first() {
        let day = first.until;
        let (met, rest): (Vec<_>, Vec<_>) = left.iter().copied().partition(|window| window.holds(day));
        groups.push(Group::of(met, None));
        left = rest;
    }
    groups
}

/// Windows that hold a kept day, grouped by the first they hold, and the others.
fn by_days<'j>(windows: Vec<Window<'j>>, kept: &[Day]) -> (Vec<Group<'j>>, Vec<Window<'j>>) {
    let mut stand: Vec<(Day, Vec<Window<'j>>)> = kept.iter().map(|day| (*day, Vec::new())).collect();
    let mut rest = Vec::new();
    for window in windows {
        match stand.iter_mut().find(|(day, _)| window.holds(*day)) {
            Some((_, met)) => met.push(window),
            None => rest.push(window),
        }
    }
    stand.retain(|(_, met)| !met.is_empty());
    (stand.into_iter().map(|(day, met)| Group::of(met, Some(day))).collect(), rest)
}
