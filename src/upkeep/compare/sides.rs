//! Ways to look after the systems of the past, beside one another.

use std::collections::BTreeSet;

use super::cause::{Cause, stood, summed};
use super::played::Played;
use crate::model::{EventTime, Finding, Id, System};
use crate::upkeep::{Crew, Day, Dose, LastDone, Outlook, Rules};

/// By the calendar nobody looks in between, but a household calls when its yard stands under water this long.
const COMPLAINT: i64 = 3;

/// A finding of the past.
#[derive(Clone, Debug, PartialEq)]
pub struct PastFinding {
    /// The finding.
    pub finding: Finding,
    /// When it was found.
    pub raised: EventTime,
    /// When it was over, if it was.
    pub cleared: Option<EventTime>,
}

/// What the ledger knows of one system's past.
#[derive(Clone, Debug)]
pub struct Past<'a> {
    /// The system.
    pub system: &'a System,
    /// Findings that stood in the period, in order.
    pub findings: Vec<PastFinding>,
    /// Forecasts and when they were made, in order.
    pub outlooks: Vec<(EventTime, Outlook)>,
    /// Doses, in order.
    pub doses: Vec<Dose>,
    /// Work before the period.
    pub last: Vec<LastDone>,
    /// Work in the period.
    pub done: Vec<LastDone>,
    /// Since when it is watched.
    pub since: EventTime,
}

/// Calendars to compare with: a round once a year, as a water agency advises for outlets and mulch (Santa Clara Valley
/// Water District, guidance on graywater mulch basins: "once a year in general"), and once a quarter, as looked-after
/// grounds get (common practice, no published source).
pub const CALENDARS: [Way<'static>; 2] = [Way::Calendar(365), Way::Calendar(91)];

/// A way to look after systems.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Way<'a> {
    /// As the records say that it was.
    AsItWas,
    /// By plan.
    Plan(&'a Rules, &'a Crew),
    /// By a calendar, with this many days between its rounds.
    Calendar(i64),
}

/// What one way came to.
#[derive(Clone, Debug, PartialEq)]
pub struct Side<'a> {
    /// The way.
    pub way: Way<'a>,
    /// Visits made.
    pub visits: usize,
    /// Of these, visits because a household complained of water.
    pub complaints: usize,
    /// Days that faults stood, each counted by itself.
    pub fault_days: f64,
    /// Of these, days of floods.
    pub flood_days: f64,
}

/// Ways beside one another.
#[derive(Clone, Debug, PartialEq)]
pub struct Comparison<'a> {
    /// Properties.
    pub properties: usize,
    /// Systems.
    pub systems: usize,
    /// Systems left out, as they were not there for most of the time.
    pub left_out: usize,
    /// Days that are compared.
    pub days: i64,
    /// Faults found.
    pub faults: usize,
    /// In the order asked for.
    pub sides: Vec<Side<'a>>,
    /// The rarest rounds under which faults would have stood no longer than in the first way asked for: what a
    /// calendar takes to do as well where its days fall luckily. None where nothing was found, or nobody went.
    pub as_good: Option<Side<'a>>,
}

/// First and last day of what is compared.
pub type Course = (Day, Day);

/// Plays the past through in each of these ways.
pub fn compare<'a>(past: &[Past<'_>], course: Course, ways: &[Way<'a>]) -> Comparison<'a> {
    let causes: Vec<Cause<'_>> = past.iter().flat_map(|it| Cause::all(it, course)).collect();
    let properties: BTreeSet<&Id> = past.iter().map(|it| &it.system.property).collect();
    let calendar = |every| by_calendar(&causes, &properties, course, every);
    let side = |way: &Way<'a>| {
        let came_to = match *way {
            Way::AsItWas => as_it_was(past, &causes),
            Way::Plan(rules, crew) => Played::new(past, &causes).play(rules, crew, course),
            Way::Calendar(every) => calendar(every),
        };
        came_to.by(*way)
    };
    let sides: Vec<Side<'a>> = ways.iter().map(side).collect();
    let first = sides.first().filter(|first| first.visits > 0 && !causes.is_empty());
    let as_good = first.and_then(|first| {
        let rarest = (1..=course.1.0 - course.0.0).rev().map(|every| (every, calendar(every)));
        let mut as_good = rarest.filter(|(_, came_to)| came_to.days.0 <= first.fault_days);
        as_good.next().map(|(every, came_to)| came_to.by(Way::Calendar(every)))
    });
    Comparison {
        properties: properties.len(),
        systems: past.len(),
        left_out: 0,
        days: course.1.0 - course.0.0,
        faults: causes.iter().flat_map(|cause| &cause.faults).filter(|fault| fault.counts()).count(),
        sides,
        as_good,
    }
}

/// Visits made, those of them that a complaint brought, and days that faults and floods stood.
pub(super) struct CameTo {
    pub(super) visits: usize,
    pub(super) complaints: usize,
    pub(super) days: (f64, f64),
}

impl CameTo {
    fn by(self, way: Way<'_>) -> Side<'_> {
        let Self { visits, complaints, days: (fault_days, flood_days) } = self;
        Side { way, visits, complaints, fault_days, flood_days }
    }
}

fn as_it_was(past: &[Past<'_>], causes: &[Cause<'_>]) -> CameTo {
    let visits: BTreeSet<(&Id, Day)> = past
        .iter()
        .flat_map(|it| it.done.iter().map(|done| (&it.system.property, Day::of(done.at, &it.system.zone))))
        .collect();
    let faults = causes.iter().flat_map(|cause| &cause.faults);
    CameTo { visits: visits.len(), complaints: 0, days: summed(faults.map(|fault| (fault, fault.over))) }
}

fn by_calendar(causes: &[Cause<'_>], properties: &BTreeSet<&Id>, (from, to): Course, every: i64) -> CameTo {
    let rounds = (to.0 - from.0) / every.max(1);
    let round_after = |day: Day| from.plus(((day.0 - from.0) / every + 1) * every);
    let mut calls: BTreeSet<(&Id, Day)> = BTreeSet::new();
    for cause in causes {
        let floods = cause.faults.iter().filter(|fault| fault.is_flood());
        let standing = floods.map(|fault| (fault.from.plus(COMPLAINT), fault.until));
        let call = standing.filter(|(call, until)| call <= until).map(|(call, _)| call).min();
        if let Some(call) = call.filter(|call| *call < round_after(cause.from())) {
            calls.insert((&cause.system.property, call));
        }
    }
    let mended = |cause: &Cause<'_>| {
        let called = calls.iter().filter(|(at, day)| **at == cause.system.property && *day >= cause.from());
        let round = round_after(cause.from());
        called.map(|(_, day)| *day).min().map_or(round, |day| day.min(round))
    };
    let days = stood(causes.iter().map(|cause| (cause, Some(mended(cause)))));
    let visits = properties.len() * usize::try_from(rounds).unwrap_or(0) + calls.len();
    CameTo { visits, complaints: calls.len(), days }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::{FindingKind, Subject, Work};
    use crate::upkeep::samples::{finding, yard};

    const FROM: Day = Day(20_454); // 1 January 2026, a Thursday
    const TO: Day = Day(20_454 + 364);

    fn past(system: &System, findings: Vec<PastFinding>) -> Past<'_> {
        let last = system.basins.iter().map(|basin| LastDone {
            subject: Subject::Basin(basin.id.clone()),
            work: Some(Work::MulchRenewed),
            at: FROM.plus(-10).at(0, &system.zone),
        });
        let since = FROM.plus(-10).at(0, &system.zone);
        let (outlooks, doses, done) = (Vec::new(), Vec::new(), Vec::new());
        Past { system, findings, outlooks, doses, last: last.collect(), done, since }
    }

    /// Visits and days, of the year as it was, by plan, by a yearly and by a quarterly calendar.
    fn compared(past: &[Past<'_>]) -> [(usize, f64); 4] {
        let told = told(past);
        told.map(|(visits, _, fault_days, _)| (visits, fault_days))
    }

    /// The same with complaints and days of floods.
    fn told(past: &[Past<'_>]) -> [(usize, usize, f64, f64); 4] {
        let (rules, crew) = (Rules::default(), Crew::default());
        let ways = [Way::AsItWas, Way::Plan(&rules, &crew), Way::Calendar(365), Way::Calendar(91)];
        let found = compare(past, (FROM, TO), &ways);
        let mut sides = found.sides.iter().map(|it| (it.visits, it.complaints, it.fault_days, it.flood_days));
        std::array::from_fn(|_| sides.next().unwrap())
    }

    fn at(day: i64) -> EventTime {
        FROM.plus(day).at(8 * 60, &yard().zone)
    }

    #[test]
    fn a_fault_stands_until_the_visit_that_it_brings_or_the_next_round() {
        let system = yard();
        let raised = at(40); // Tuesday 10 February
        let blocked = finding(FindingKind::BlockedOutlet, Subject::Basin(Id::new("quince").unwrap()));
        let past = [past(&system, vec![PastFinding { finding: blocked, raised, cleared: None }])];
        let [as_it_was, plan, yearly, quarterly] = compared(&past);
        assert_eq!((as_it_was, yearly, quarterly), ((0, 324.0), (0, 324.0), (4, 51.0)));
        assert!(plan.0 < quarterly.0 && (1.0..=7.0).contains(&plan.1), "{plan:?}");
    }

    #[test]
    fn a_flood_brings_a_call_where_nobody_watches() {
        let system = yard();
        let raised = at(40);
        let flood = finding(FindingKind::Flooding, Subject::Basin(Id::new("quince").unwrap()));
        let past = [past(&system, vec![PastFinding { finding: flood, raised, cleared: None }])];
        let [_, plan, yearly, _] = told(&past);
        assert_eq!((yearly.1, yearly.3), (1, 3.0));
        assert!(plan.3 <= 1.0, "{plan:?}");
    }

    #[test]
    fn what_the_records_say_was_mended_would_have_stood_on_without_that() {
        let system = yard();
        let quince = || Subject::Basin(Id::new("quince").unwrap());
        let blocked = finding(FindingKind::BlockedOutlet, quince());
        let mut past =
            past(&system, vec![PastFinding { finding: blocked, raised: at(40), cleared: Some(at(45)) }]);
        let alone = compared(std::slice::from_ref(&past));
        assert!(alone.iter().all(|side| side.1 <= 5.0), "it went away by itself: {alone:?}");
        past.done.extend([None, Some(Work::OutletCleared)].map(|work| LastDone {
            subject: quince(),
            work,
            at: at(44),
        }));
        let [as_it_was, plan, yearly, _] = compared(&[past]);
        assert_eq!((as_it_was, yearly.1), ((1, 5.0), 324.0));
        assert!(plan.1 <= 7.0, "{plan:?}");
    }

    #[test]
    fn the_calendar_that_does_as_well_is_the_rarest_of_those_that_do() {
        let system = yard();
        let quince = || Subject::Basin(Id::new("quince").unwrap());
        let blocked = finding(FindingKind::BlockedOutlet, quince());
        let mut past =
            past(&system, vec![PastFinding { finding: blocked, raised: at(40), cleared: Some(at(50)) }]);
        past.done.push(LastDone { subject: quince(), work: Some(Work::OutletCleared), at: at(49) });
        let past = [past];
        let of = |ways: &[Way<'static>]| compare(&past, (FROM, TO), ways);
        let as_good = of(&[Way::AsItWas]).as_good.expect("every day would do");
        let Way::Calendar(every) = as_good.way else { panic!("{as_good:?}") };
        assert!(as_good.fault_days <= 10.0 && as_good.visits > 1, "{as_good:?}");
        let days = |every| of(&[Way::Calendar(every)]).sides[0].fault_days;
        assert!((every + 1..=364).all(|rarer| days(rarer) > 10.0), "{as_good:?}");
        assert_eq!(compare(&[], (FROM, TO), &[Way::AsItWas]).as_good, None, "nothing was found");
    }

    #[test]
    fn what_comes_and_goes_is_mended_once_for_all_unless_work_lies_between() {
        let system = yard();
        let quince = || Subject::Basin(Id::new("quince").unwrap());
        let pond = |day: i64| {
            let finding = finding(FindingKind::Ponding, quince());
            PastFinding { finding, raised: at(day), cleared: Some(at(day + 1)) }
        };
        let mut past = past(&system, (0..20).map(|n| pond(40 + 10 * n)).collect());
        let one = compared(std::slice::from_ref(&past));
        let loosened = |at| LastDone { subject: quince(), work: Some(Work::BasinLoosened), at };
        past.done.push(loosened(at(95)));
        let two = compared(&[past]);
        assert_eq!(one[1].0 + 1, two[1].0, "{one:?}\n{two:?}");
        assert!(one[1].1 < two[1].1, "{one:?}\n{two:?}");
    }
}
