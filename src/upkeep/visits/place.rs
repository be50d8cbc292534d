//! A day for each group that the crew has time on.

use std::collections::BTreeMap;

use super::diary::Diary;
use super::mend::mend;
use super::stab::Group;
use crate::model::Id;
use crate::upkeep::{Crew, Day};

/// How far beyond its last day a group is put off at most, days.
const PUT_OFF: i64 = 90;
/// A day that somebody is near anyway is worth being this many days off the best one.
const NEARBY_IS_WORTH: i64 = 10;
/// Work that only prevents is planned this many days before its last day at most, for rain and sickness.
const SPARE: i64 = 4;
/// Groups that are asked to move in one plan: a crew with far too much to do finds no room whoever moves.
const ASKED: usize = 10_000;

/// A group with its property and its day.
#[derive(Clone, Debug)]
pub(super) struct Placed<'j> {
    pub(super) property: Id,
    pub(super) group: Group<'j>,
    pub(super) day: Day,
}

impl Placed<'_> {
    /// Whether it misses a day that it could have met.
    pub(super) fn is_late(&self) -> bool {
        self.day > self.group.until
    }
}

/// Gives each group a day: what has the fewest days to choose from chooses first.
pub(super) fn place<'j>(mut groups: Vec<(Id, Group<'j>)>, crew: &Crew) -> Vec<Placed<'j>> {
    groups.sort_by_cached_key(|(property, group)| {
        (group.open_days(crew).count(), group.until, property.clone(), group.first().cloned())
    });
    groups.reverse();
    let mut placing = Placing::new(crew);
    while let Some((property, group)) = groups.pop() {
        let found =
            placing.best((&property, &group), None).or_else(|| placing.make_room((&property, &group)));
        if found.is_none() && group.windows.len() > 1 {
            // Two visits in time are better than one that is late.
            groups.extend(group.apart().map(|part| (property.clone(), part)));
            continue;
        }
        let day = found.unwrap_or_else(|| placing.put_off(&property, &group));
        placing.add(Placed { property, group, day });
    }
    placing.gather();
    mend(placing.placed, crew)
}

/// How far `day` is from the best day for `group`: the first for what mends, shortly before the last for what
/// prevents, the one of the plan before if there is one.
fn off(group: &Group<'_>, day: Day) -> i64 {
    if let Some(wish) = group.wish {
        return (day.0 - wish.0).abs();
    }
    if group.mends() {
        return day.0 - group.from.0;
    }
    let spare = SPARE.min((group.until.0 - group.from.0) / 4);
    (day.0 - (group.until.0 - spare)).abs()
}

/// Groups on their days, as far as they are placed.
struct Placing<'c, 'j> {
    crew: &'c Crew,
    diary: Diary<'c>,
    placed: Vec<Placed<'j>>,
    /// By day: which of `placed`.
    on: BTreeMap<Day, Vec<usize>>,
    /// Groups that may still be asked to move.
    asked: usize,
}

impl<'c, 'j> Placing<'c, 'j> {
    fn new(crew: &'c Crew) -> Self {
        Self { crew, diary: Diary::new(crew), placed: Vec::new(), on: BTreeMap::new(), asked: ASKED }
    }

    fn add(&mut self, placed: Placed<'j>) {
        self.diary.add(placed.day, &placed.property, placed.group.minutes());
        self.on.entry(placed.day).or_default().push(self.placed.len());
        self.placed.push(placed);
    }

    /// The best day with room for the group, other than `not`.
    fn best(&self, (property, group): (&Id, &Group<'_>), not: Option<Day>) -> Option<Day> {
        let more = (property, group.minutes());
        let days = group.open_days(self.crew).filter(|day| Some(*day) != not && self.diary.fits(*day, more));
        days.min_by_key(|day| {
            let nearby = group.wish.is_none() && self.diary.has_nearby(*day, property);
            (off(group, *day) - if nearby { NEARBY_IS_WORTH } else { 0 }, *day)
        })
    }

    /// Moves a group that was placed to another of its days so that this one fits into its window. Nothing is moved
    /// where that fails.
    fn make_room(&mut self, (property, group): (&Id, &Group<'_>)) -> Option<Day> {
        let minutes = group.minutes();
        for day in group.open_days(self.crew) {
            for at in self.on.get(&day).cloned().unwrap_or_default() {
                self.asked = self.asked.checked_sub(1)?;
                let their_minutes = self.placed[at].group.minutes();
                if !self.diary.may_fit(day, minutes, their_minutes) {
                    continue;
                }
                let Placed { property: theirs, group: other, .. } = self.placed[at].clone();
                self.diary.remove(day, &theirs, their_minutes);
                if self.diary.fits(day, (property, minutes)) {
                    // Held while the other looks for a day, which must not be this one's room.
                    self.diary.add(day, property, minutes);
                    let elsewhere = self.best((&theirs, &other), Some(day));
                    self.diary.remove(day, property, minutes);
                    if let Some(elsewhere) = elsewhere {
                        self.diary.add(elsewhere, &theirs, their_minutes);
                        self.moved(at, elsewhere);
                        return Some(day);
                    }
                }
                self.diary.add(day, &theirs, their_minutes);
            }
        }
        None
    }

    /// Notes that a group lies on another day now.
    fn moved(&mut self, at: usize, day: Day) {
        let before = std::mem::replace(&mut self.placed[at].day, day);
        self.on.entry(before).or_default().retain(|other| *other != at);
        self.on.entry(day).or_default().push(at);
    }

    /// The first working day after the window with room, or the last day that is tried.
    fn put_off(&self, property: &Id, group: &Group<'_>) -> Day {
        let more = (property, group.minutes());
        let days = (1..=PUT_OFF).map(|days| group.until.plus(days)).filter(|day| self.crew.days.has(*day));
        let mut last = group.until;
        for day in days {
            last = day;
            if self.diary.fits(day, more) {
                break;
            }
        }
        last
    }

    /// Moves groups that keep no day of an earlier plan to days on which somebody is near anyway, as long as that
    /// spares a journey.
    fn gather(&mut self) {
        for at in 0..self.placed.len() {
            let Placed { property, group, day } = &self.placed[at];
            if group.wish.is_some() || group.mends() {
                continue;
            }
            let (minutes, day) = (group.minutes(), *day);
            self.diary.remove(day, property, minutes);
            let mut better = day;
            if !self.diary.has_nearby(day, property) {
                let nearby = group
                    .open_days(self.crew)
                    .filter(|it| self.diary.has_nearby(*it, property))
                    .filter(|it| self.diary.fits(*it, (property, minutes)))
                    .min_by_key(|it| (off(group, *it), *it));
                better = nearby.unwrap_or(day);
            }
            self.diary.add(better, property, minutes);
            if better != day {
                self.moved(at, better);
            }
        }
    }
}
