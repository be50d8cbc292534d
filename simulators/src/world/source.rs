//! The fixtures: which uses are running, and what they discharge.

use std::collections::VecDeque;

use super::condition::Condition;
use crate::calendar::LocalDay;
use crate::people::{Habits, Household, Use};
use crate::site::Site;
use crate::truth::DoseKind;

/// The fixtures of one house.
#[derive(Debug, Clone)]
pub(super) struct Source {
    habits: Habits,
    people: u32,
    /// As many as could ever be there at once.
    most_people: u32,
    guests: Vec<(i64, i64, u32)>,
    away: Vec<(i64, i64)>,
    /// Uses to come, in order.
    queue: VecDeque<Use>,
    running: Vec<Use>,
}

/// What the fixtures discharged in one step, by kind (L).
pub(super) type Discharge = [f64; KINDS];

/// How many kinds of dose there are.
pub(super) const KINDS: usize = DoseKind::FlowTest as usize + 1;

impl Source {
    pub(super) fn new(site: &Site, household: &Household, most_times: f64, start_ms: i64, seed: u64) -> Self {
        let people = household.people.unwrap_or(site.people);
        let guests: Vec<_> = household
            .guests
            .iter()
            .map(|stay| (stay.from.at_ms(start_ms), stay.until.at_ms(start_ms), stay.people))
            .collect();
        let away = household.away.iter().map(|time| (time.from.at_ms(start_ms), time.until.at_ms(start_ms)));
        let most_guests: u32 = guests.iter().map(|(_, _, people)| people).sum();
        Self {
            habits: Habits::new(site, household, seed),
            people,
            most_people: (f64::from(people) * most_times).ceil() as u32 + most_guests,
            away: away.collect(),
            guests,
            queue: VecDeque::new(),
            running: Vec::new(),
        }
    }

    /// Plans the uses of a day that begins.
    pub(super) fn plan(&mut self, day: &LocalDay) {
        self.queue.extend(self.habits.day(day, self.most_people));
        self.queue.make_contiguous().sort_by_key(|one| one.start_ms);
    }

    /// Runs water on purpose.
    pub(super) fn run(&mut self, one: Use) {
        let place = self.queue.partition_point(|other| other.start_ms <= one.start_ms);
        self.queue.insert(place, one);
    }

    /// Starts the uses that are due at `t_ms` and drain here; tells how many and since when.
    pub(super) fn start_due(&mut self, t_ms: i64, condition: &Condition) -> Option<Started> {
        let mut started: Option<Started> = None;
        while self.queue.front().is_some_and(|one| one.start_ms <= t_ms) {
            let Some(one) = self.queue.pop_front() else { break };
            if one.luck < condition.lost || !self.present(&one, condition.times) {
                continue;
            }
            let first = started.get_or_insert(Started { at_ms: one.start_ms, uses: 0 });
            first.uses += 1;
            self.running.push(one);
        }
        started
    }

    /// What the running uses discharge between two moments.
    pub(super) fn discharge(&mut self, from_ms: i64, until_ms: i64) -> Discharge {
        let mut litres = [0.0; KINDS];
        for one in &self.running {
            for surge in &one.surges {
                let start = one.start_ms + surge.after_ms;
                let overlap = (start + surge.for_ms).min(until_ms) - start.max(from_ms);
                if overlap > 0 {
                    litres[one.kind as usize] += surge.l_min * overlap as f64 / 60_000.0;
                }
            }
        }
        self.running.retain(|one| one.end_ms() > until_ms);
        litres
    }

    /// Whether some use has begun and not ended.
    pub(super) fn is_running(&self) -> bool {
        !self.running.is_empty()
    }

    /// Whether water leaves a fixture at `t_ms`.
    pub(super) fn flows(&self, t_ms: i64) -> bool {
        self.surges().any(|(from, until)| from <= t_ms && t_ms < until)
    }

    /// The next moment after `t_ms` at which a use begins, or water begins to leave a fixture.
    pub(super) fn next_after(&self, t_ms: i64) -> Option<i64> {
        let begins = self.surges().map(|(from, _)| from).filter(|from| *from > t_ms);
        begins.chain(self.queue.front().map(|one| one.start_ms)).min()
    }

    fn surges(&self) -> impl Iterator<Item = (i64, i64)> {
        self.running.iter().flat_map(|one| {
            one.surges.iter().map(|surge| {
                let from = one.start_ms + surge.after_ms;
                (from, from + surge.for_ms)
            })
        })
    }

    /// Whether the person whose use it is stays in the house at its time.
    fn present(&self, one: &Use, times: f64) -> bool {
        if one.kind == DoseKind::FlowTest {
            return true;
        }
        let during = |from: i64, until: i64| (from..until).contains(&one.start_ms);
        if self.away.iter().any(|(from, until)| during(*from, *until)) {
            return false;
        }
        let guests: u32 = self
            .guests
            .iter()
            .filter(|(from, until, _)| during(*from, *until))
            .map(|(_, _, people)| people)
            .sum();
        f64::from(one.person) + one.luck < f64::from(self.people) * times + f64::from(guests)
    }
}

/// Uses that have just begun.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Started {
    /// When the first of them began (Unix ms).
    pub(super) at_ms: i64,
    pub(super) uses: u32,
}
