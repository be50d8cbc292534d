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

/// Gives each group a day: what must be done first chooses first.
pub(super) fn place<'j>(mut groups: Vec<(Id, Group<'j>)>, crew: &Crew) -> Vec<Placed<'j>> {
    groups.sort_by(|(a, x), (b, y)| {
        (x.until, x.from, a, first(x)).cmp(&(y.until, y.from, b, first(y)))
    });
    let mut diary = Diary::default();
    let mut placed: Vec<Placed<'j>> = Vec::new();
    for (property, group) in groups {
        let minutes = group.minutes();
        let day = best(&diary, crew, &property, &group)
            .or_else(|| make_room(&mut diary, crew, (&property, &group), &mut placed))
            .unwrap_or_else(|| put_off(&diary, crew, &property, &group));
        diary.add(day, &property, minutes);
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

fn best(diary: &Diary, crew: &Crew, property: &Id, group: &Group<'_>) -> Option<Day> {
    let more = (property, group.minutes());
    let days = open_days(crew, group).filter(|day| diary.fits(crew, *day, more));
    days.min_by_key(|day| {
        let nearby = group.wish.is_none() && diary.has_nearby(crew, *day, property);
        (off(group, *day) - if nearby { NEARBY_IS_WORTH } else { 0 }, *day)
    })
}

/// Moves one group that was placed to another of its days so that this one fits into its window.
fn make_room(
    diary: &mut Diary,
    crew: &Crew,
    (property, group): (&Id, &Group<'_>),
    placed: &mut [Placed<'_>],
) -> Option<Day> {
    let more = (property, group.minutes());
    for day in open_days(crew, group) {
        for other in placed.iter_mut().filter(|other| other.day == day) {
            let minutes = other.group.minutes();
            diary.remove(day, &other.property, minutes);
            let elsewhere = if diary.fits(crew, day, more) {
                let theirs = (&other.property, minutes);
                let days = open_days(crew, &other.group).filter(|it| *it != day);
                days.filter(|it| diary.fits(crew, *it, theirs)).min_by_key(|it| (off(&other.group, *it), *it))
            } else {
                None
            };
            diary.add(elsewhere.unwrap_or(day), &other.property, minutes);
            if let Some(elsewhere) = elsewhere {
                other.day = elsewhere;
                return Some(day);
            }
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
    for at in 0..placed.len() {
        let Placed { property, group, day } = &placed[at];
        let (minutes, day) = (group.minutes(), *day);
        if group.wish.is_some() || group.mends() {
            continue;
        }
        diary.remove(day, property, minutes);
        let alone = !diary.has_nearby(crew, day, property);
        let nearby = open_days(crew, group)
            .filter(|it| alone && diary.has_nearby(crew, *it, property))
            .filter(|it| diary.fits(crew, *it, (property, minutes)))
            .min_by_key(|it| (off(group, *it), *it));
        diary.add(nearby.unwrap_or(day), property, minutes);
        placed[at].day = nearby.unwrap_or(day);
    }
}
