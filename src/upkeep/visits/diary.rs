//! What a crew has on each day.

use std::collections::BTreeMap;

use crate::model::Id;
use crate::upkeep::{Crew, Day};

/// Work and travel of every day. Adding, removing and asking take the same time however much there is on a day.
#[derive(Debug)]
pub(super) struct Diary<'c> {
    crew: &'c Crew,
    days: BTreeMap<Day, OneDay>,
}

/// What there is on one day.
#[derive(Debug, Default)]
struct OneDay {
    /// Work and travel; the way to a travel group counts once.
    minutes: u32,
    /// Entries of each property.
    at: BTreeMap<Id, usize>,
    /// Properties of each travel group.
    of_group: BTreeMap<usize, usize>,
}

impl OneDay {
    /// Minutes to get to `property` for a crew that goes to the rest of this day's as well.
    fn way(&self, crew: &Crew, property: &Id) -> u32 {
        if self.at.contains_key(property) {
            0
        } else if crew.groups.of(property).is_some_and(|group| self.of_group.contains_key(&group)) {
            crew.nearby
        } else {
            crew.travel
        }
    }
}

impl<'c> Diary<'c> {
    pub(super) fn new(crew: &'c Crew) -> Self {
        Self { crew, days: BTreeMap::new() }
    }

    pub(super) fn add(&mut self, day: Day, property: &Id, minutes: u32) {
        let one = self.days.entry(day).or_default();
        one.minutes += minutes + one.way(self.crew, property);
        let entries = one.at.entry(property.clone()).or_default();
        *entries += 1;
        if let (1, Some(group)) = (*entries, self.crew.groups.of(property)) {
            *one.of_group.entry(group).or_default() += 1;
        }
    }

    /// Takes back what was added.
    pub(super) fn remove(&mut self, day: Day, property: &Id, minutes: u32) {
        let Some(one) = self.days.get_mut(&day) else { return };
        let Some(entries) = one.at.get_mut(property) else { return };
        *entries -= 1;
        one.minutes -= minutes;
        if *entries > 0 {
            return;
        }
        one.at.remove(property);
        if let Some(group) = self.crew.groups.of(property)
            && let Some(properties) = one.of_group.get_mut(&group)
        {
            *properties -= 1;
            if *properties == 0 {
                one.of_group.remove(&group);
            }
        }
        one.minutes -= one.way(self.crew, property);
    }

    /// Whether there is time for it on top. A single visit may always fill a day of its own.
    pub(super) fn fits(&self, day: Day, (property, minutes): (&Id, u32)) -> bool {
        let one = self.days.get(&day).filter(|one| !one.at.is_empty());
        one.is_none_or(|one| one.minutes + minutes + one.way(self.crew, property) <= self.crew.minutes_a_day)
    }

    /// Whether `minutes` of work could fit once `less` minutes of work and the longest way are gone; a quick no.
    pub(super) fn may_fit(&self, day: Day, minutes: u32, less: u32) -> bool {
        let taken = self.days.get(&day).map_or(0, |one| one.minutes);
        let ways = self.crew.travel.max(self.crew.nearby);
        taken + minutes <= self.crew.minutes_a_day + less + ways || taken <= less + ways
    }

    /// Minutes to get to `property` on `day` for a crew that goes to the rest of that day's as well.
    pub(super) fn way(&self, day: Day, property: &Id) -> u32 {
        self.days.get(&day).map_or(self.crew.travel, |one| one.way(self.crew, property))
    }

    /// Minutes of work and travel on `day`.
    #[cfg(test)]
    pub(super) fn minutes(&self, day: Day) -> u32 {
        self.days.get(&day).map_or(0, |one| one.minutes)
    }

    /// Whether somebody is at `property` on `day`.
    pub(super) fn has(&self, day: Day, property: &Id) -> bool {
        self.days.get(&day).is_some_and(|one| one.at.contains_key(property))
    }

    /// Whether somebody is at `property` or near it on `day`.
    pub(super) fn has_nearby(&self, day: Day, property: &Id) -> bool {
        let group = self.crew.groups.of(property);
        self.has(day, property)
            || group
                .is_some_and(|group| self.days.get(&day).is_some_and(|one| one.of_group.contains_key(&group)))
    }
}
