//! What came out late when one group was placed after the other, tried once more together with what is around it.
//!
//! Placing in turn is blind to the case where several jobs have to move, or to be done apart, to make room for one.
//! Around each late job a few others are taken up again, and every choice of days is tried for all of them. A few jobs
//! are tried exhaustively; where more stand around, the number of steps is bounded.

use std::collections::{BTreeMap, BTreeSet};

use super::diary::Diary;
use super::place::Placed;
use super::stab::{Group, Window};
use crate::model::Id;
use crate::upkeep::task::TaskKey;
use crate::upkeep::{Crew, Day};

/// Jobs that are taken up again together.
const AROUND: usize = 16;
/// Late groups that are looked at in one plan, and days that are tried for them: a crew with far too much to do is late
/// whatever is tried.
const LATE: usize = 20;
const STEPS: usize = 50_000;

/// Mends what is late, as far as trying a bounded number of other choices does.
pub(super) fn mend<'j>(mut placed: Vec<Placed<'j>>, crew: &Crew) -> Vec<Placed<'j>> {
    let late = placed.iter().filter(|it| it.is_late()).filter_map(|it| it.group.first());
    let late: Vec<&TaskKey> = late.take(LATE).collect();
    let mut steps = STEPS;
    for key in late {
        let at = placed.iter().position(|it| it.group.first() == Some(key));
        let Some(at) = at.filter(|at| placed[*at].is_late()) else { continue };
        let taken = around(&placed, at, crew);
        let mut again = Vec::new();
        for at in taken.into_iter().rev() {
            again.push(placed.swap_remove(at));
        }
        let mut search = Search::of(&again, &placed, crew, steps);
        let found = search.goes_on(0).then(|| search.placed(&again));
        steps = search.steps;
        placed.extend(found.unwrap_or(again));
    }
    placed
}

/// The group at `at`, those on the days that it could be done on, those on the days that these could be done on, and so
/// on, as long as the jobs are few.
fn around(placed: &[Placed<'_>], at: usize, crew: &Crew) -> BTreeSet<usize> {
    let mut taken = BTreeSet::from([at]);
    let mut jobs = placed[at].group.windows.len();
    loop {
        let days: BTreeSet<Day> = taken
            .iter()
            .flat_map(|at| &placed[*at].group.windows)
            .flat_map(|window| crew.open_days((window.from, window.until)))
            .collect();
        let next = (0..placed.len()).find(|at| {
            let it = &placed[*at];
            !taken.contains(at) && days.contains(&it.day) && jobs + it.group.windows.len() <= AROUND
        });
        let Some(next) = next else { return taken };
        jobs += placed[next].group.windows.len();
        taken.insert(next);
    }
}

/// A job that is taken up again, with the day that it had.
struct Again<'j> {
    property: Id,
    window: Window<'j>,
    had: Day,
}

/// The search for a day of each job, the one with the fewest days first.
struct Search<'c, 'j> {
    crew: &'c Crew,
    diary: Diary<'c>,
    jobs: Vec<Again<'j>>,
    chosen: Vec<Day>,
    steps: usize,
}

impl<'c, 'j> Search<'c, 'j> {
    fn of(again: &[Placed<'j>], rest: &[Placed<'j>], crew: &'c Crew, steps: usize) -> Self {
        let job = |it: &Placed<'j>, window: &Window<'j>| Again {
            property: it.property.clone(),
            window: *window,
            had: it.day,
        };
        let jobs = again.iter().flat_map(|it| it.group.windows.iter().map(move |window| job(it, window)));
        let mut jobs: Vec<_> = jobs.collect();
        jobs.sort_by_key(|it| crew.open_days((it.window.from, it.window.until)).count());
        let mut diary = Diary::new(crew);
        for it in rest {
            diary.add(it.day, &it.property, it.group.minutes());
        }
        Self { crew, diary, jobs, chosen: Vec::new(), steps }
    }

    /// Whether the jobs from `at` on find their days.
    fn goes_on(&mut self, at: usize) -> bool {
        let Some(Again { property, window, had }) = self.jobs.get(at) else { return true };
        let (property, window, had) = (property.clone(), *window, *had);
        let minutes = window.job.minutes;
        let mut days: Vec<Day> = self.crew.open_days((window.from, window.until)).collect();
        // What costs no move and no journey first.
        days.sort_by_key(|day| (*day != had, !self.diary.has(*day, &property)));
        for day in days {
            if self.steps == 0 {
                return false;
            }
            self.steps -= 1;
            if self.diary.fits(day, (&property, minutes)) {
                self.diary.add(day, &property, minutes);
                self.chosen.push(day);
                if self.goes_on(at + 1) {
                    return true;
                }
                self.chosen.pop();
                self.diary.remove(day, &property, minutes);
            }
        }
        false
    }

    /// The jobs on their days. A day that was kept from an earlier plan is kept still.
    fn placed(&self, again: &[Placed<'j>]) -> Vec<Placed<'j>> {
        let mut by_day: BTreeMap<(&Id, Day), Vec<Window<'j>>> = BTreeMap::new();
        for (job, day) in self.jobs.iter().zip(&self.chosen) {
            by_day.entry((&job.property, *day)).or_default().push(job.window);
        }
        let kept = |property: &Id, day: Day| {
            again.iter().any(|it| it.property == *property && it.group.wish == Some(day))
        };
        let placed = by_day.into_iter().map(|((property, day), windows)| Placed {
            property: property.clone(),
            group: Group::of(windows, kept(property, day).then_some(day)),
            day,
        });
        placed.collect()
    }
}
