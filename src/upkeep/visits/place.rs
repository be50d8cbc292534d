//! A day for each group that the crew has time on.

use std::collections::BTreeMap;

use super::stab::Group;
use crate::model::Id;
use crate::upkeep::task::TaskKey;
use crate::upkeep::{Crew, Day};

/// How far beyond its last day a group is put off at most, days.
const PUT_OFF: i64 = 90;
/// A day that somebody is near anyway is worth being this many days off the best one.
const NEARBY_IS_WORTH: i64 = 10;
/// Longest chain of moves that makes room for a group.
const MOVES: usize = 2;
/// Work that only prevents is planned this many days before its last day at most, for rain and sickness.
const SPARE: i64 = 4;

/// A group with its property and its day.
#[derive(Clone, Debug)]
pub(super) struct Placed<'j> {
    pub(super) property: Id,
    pub(super) group: Group<'j>,
    pub(super) day: Day,
}

/// What a crew has on each day: properties with the minutes there.
#[derive(Debug, Default)]
struct Diary(BTreeMap<Day, Vec<(Id, u32)>>);

impl Diary {
    fn add(&mut self, day: Day, property: &Id, minutes: u32) {
        self.0.entry(day).or_default().push((property.clone(), minutes));
    }

    fn remove(&mut self, day: Day, property: &Id, minutes: u32) {
        if let Some(entries) = self.0.get_mut(&day)
            && let Some(at) = entries.iter().position(|entry| entry.0 == *property && entry.1 == minutes)
        {
            entries.remove(at);
        }
    }

    /// Minutes of work and travel on `day` if `more` came on top. A single visit may always fill a day of its own.
    fn fits(&self, crew: &Crew, day: Day, more: (&Id, u32)) -> bool {
        let entries = self.0.get(&day).map_or(&[][..], Vec::as_slice);
        entries.is_empty() || minutes(crew, entries, Some(more)) <= crew.minutes_a_day
    }

    fn has_nearby(&self, crew: &Crew, day: Day, property: &Id) -> bool {
        let group = crew.groups.of(property);
        self.0.get(&day).is_some_and(|entries| {
            entries
                .iter()
                .any(|(other, _)| other == property || (group.is_some() && crew.groups.of(other) == group))
        })
    }
}

/// Work and travel of these visits: the way to a travel group counts once.
pub(super) fn minutes(crew: &Crew, entries: &[(Id, u32)], more: Option<(&Id, u32)>) -> u32 {
    let all = entries.iter().map(|(property, minutes)| (property, *minutes)).chain(more);
    let mut seen: Vec<&Id> = Vec::new();
    let mut total = 0;
    for (property, minutes) in all {
        total += minutes + way(crew, &seen, property);
        seen.push(property);
    }
    total
}

/// Minutes to `property` for a crew that was at `seen` on the same day.
pub(super) fn way(crew: &Crew, seen: &[&Id], property: &Id) -> u32 {
    let group = crew.groups.of(property);
    if seen.contains(&property) {
        0
    } else if group.is_some() && seen.iter().any(|other| crew.groups.of(other) == group) {
        crew.nearby
    } else {
        crew.travel
    }
}

/// Gives each group a day: what has the fewest days to choose from chooses first.
pub(super) fn place<'j>(mut groups: Vec<(Id, Group<'j>)>, crew: &Crew) -> Vec<Placed<'j>> {
    groups.sort_by_cached_key(|(property, group)| {
        (open_days(crew, group).count(), group.until, property.clone(), first(group).cloned())
    });
    let mut diary = Diary::default();
    let mut placed: Vec<Placed<'j>> = Vec::new();
    groups.reverse();
    while let Some((property, group)) = groups.pop() {
        let found = best(&diary, crew, (&property, &group), None)
            .or_else(|| make_room(&mut diary, crew, (&property, &group), &mut placed, MOVES));
        if found.is_none() && group.windows.len() > 1 {
            // Two visits in time are better than one that is late.
            groups.extend(group.apart().map(|part| (property.clone(), part)));
            continue;
        }
        let day = found.unwrap_or_else(|| put_off(&diary, crew, &property, &group));
        diary.add(day, &property, group.minutes());
        placed.push(Placed { property, group, day });
    }
    gather(&mut diary, crew, &mut placed);
    placed
}

/// What tells groups apart that are alike otherwise.
fn first<'j>(group: &Group<'j>) -> Option<&'j TaskKey> {
    group.jobs().map(|job| &job.key).next()
}

/// Working days of a group's window.
fn open_days(crew: &Crew, group: &Group<'_>) -> impl Iterator<Item = Day> + use<> {
    let days = crew.days;
    (group.from.0..=group.until.0).map(Day).filter(move |day| days.has(*day))
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

/// The best day with room for the group, other than `not`.
fn best(diary: &Diary, crew: &Crew, (property, group): (&Id, &Group<'_>), not: Option<Day>) -> Option<Day> {
    let more = (property, group.minutes());
    let days = open_days(crew, group).filter(|day| Some(*day) != not && diary.fits(crew, *day, more));
    days.min_by_key(|day| {
        let nearby = group.wish.is_none() && diary.has_nearby(crew, *day, property);
        (off(group, *day) - if nearby { NEARBY_IS_WORTH } else { 0 }, *day)
    })
}

/// Moves a group that was placed to another of its days so that this one fits into its window, and for that, if need
/// be, another one, in a chain of at most `moves`. Nothing is moved where that fails.
fn make_room(
    diary: &mut Diary,
    crew: &Crew,
    (property, group): (&Id, &Group<'_>),
    placed: &mut [Placed<'_>],
    moves: usize,
) -> Option<Day> {
    let minutes = group.minutes();
    for day in open_days(crew, group) {
        for at in 0..placed.len() {
            if placed[at].day != day {
                continue;
            }
            let other = placed[at].clone();
            let theirs = other.group.minutes();
            diary.remove(day, &other.property, theirs);
            if diary.fits(crew, day, (property, minutes)) {
                // Held while the other looks for a day, which must not be this one's room.
                diary.add(day, property, minutes);
                let place = (&other.property, &other.group);
                let elsewhere = best(diary, crew, place, Some(day)).or_else(|| {
                    // Out of the way, so that the chain does not come back to it.
                    placed[at].day = Day(i64::MIN);
                    let found =
                        (moves > 1).then(|| make_room(diary, crew, place, placed, moves - 1)).flatten();
                    placed[at].day = day;
                    found
                });
                diary.remove(day, property, minutes);
                if let Some(elsewhere) = elsewhere {
                    diary.add(elsewhere, &other.property, theirs);
                    placed[at].day = elsewhere;
                    return Some(day);
                }
            }
            diary.add(day, &other.property, theirs);
        }
    }
    None
}

/// The first working day after the window with room, or the last day that is tried.
fn put_off(diary: &Diary, crew: &Crew, property: &Id, group: &Group<'_>) -> Day {
    let more = (property, group.minutes());
    let days = (1..=PUT_OFF).map(|days| group.until.plus(days)).filter(|day| crew.days.has(*day));
    let mut last = group.until;
    for day in days {
        last = day;
        if diary.fits(crew, day, more) {
            break;
        }
    }
    last
}

/// Moves groups that keep no day of an earlier plan to days on which somebody is near anyway, as long as that spares
/// a journey.
fn gather(diary: &mut Diary, crew: &Crew, placed: &mut [Placed<'_>]) {
    for Placed { property, group, day } in placed {
        let minutes = group.minutes();
        if group.wish.is_some() || group.mends() {
            continue;
        }
        diary.remove(*day, property, minutes);
        if !diary.has_nearby(crew, *day, property) {
            let nearby = open_days(crew, group)
                .filter(|it| diary.has_nearby(crew, *it, property))
                .filter(|it| diary.fits(crew, *it, (property, minutes)))
                .min_by_key(|it| (off(group, *it), *it));
            *day = nearby.unwrap_or(*day);
        }
        diary.add(*day, property, minutes);
    }
}
