//! What is done now and then although nothing is wrong, sooner or later by what the data says.

use std::collections::BTreeMap;

use super::Draft;
use crate::model::{BasinIx, EventTime, FindingKind, Id, Severity, Span, Subject, Work};
use crate::upkeep::task::{Task, TaskKind, Window};
use crate::upkeep::{Facts, Intervals, Rules, english};

/// Doses of late that say how an outlet runs.
const ENOUGH_DOSES: usize = 10;
/// An outlet that gets less than this part of its design share runs weakly.
const WEAK: f64 = 0.7;
/// A weak one is looked at within this.
const SOON: Span = Span::from_days(21);
/// What there is no record of is done within this once a system is watched.
const CATCH_UP: Span = Span::from_days(60);
/// An outlet that flowed freely is believed for this long.
const BELIEVED: Span = Span::from_days(182);

/// What is known of a regular piece of work: when it was done, and what speaks for another day.
pub(in crate::upkeep) struct Regular {
    /// When it was done, or the system began.
    pub last: EventTime,
    /// It was never done as far as is known.
    pub never: bool,
    /// How often it is done without data.
    pub every: Span,
    /// When it is due.
    pub due: EventTime,
    /// What speaks for another day than the interval's.
    pub says: Says,
}

/// What speaks for another day than the interval's.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(in crate::upkeep) enum Says {
    /// Nothing.
    Nothing,
    /// A rule demands the interval.
    Rule,
    /// The outlet flowed freely in these many doses, the last then; it got this part of its design share.
    Free {
        /// How many doses.
        doses: usize,
        /// The last one.
        last: EventTime,
        /// Part of the design share.
        part: f64,
    },
    /// The outlet runs weakly.
    Weak {
        /// How many doses.
        doses: usize,
        /// Part of the design share.
        part: f64,
    },
}

pub(super) fn tasks(facts: &Facts<'_>, rules: &Rules) -> Vec<Task> {
    let outlets = facts.system.basin_ixs().map(|basin| inspect_outlet(facts, rules, basin));
    let diverter = facts.system.diverter.then(|| exercise_diverter(facts, rules));
    outlets.chain(diverter).chain([look(facts, rules)]).map(|draft| draft.at(facts)).collect()
}

fn inspect_outlet(facts: &Facts<'_>, rules: &Rules, basin: BasinIx) -> Draft {
    let subject = Subject::Basin(facts.system.basin(basin).id.clone());
    let mut regular = regular(facts, rules, facts.outlet_seen(&subject), rules.inspect_outlets_every);
    if rules.intervals == Intervals::ByData {
        (regular.says, regular.due) = by_flow(facts, basin, &regular);
    }
    let reason = english::inspect_outlet(facts.system, &subject, &regular);
    draft(facts, TaskKind::InspectOutlet, subject, &regular, reason)
}

/// What the flow says of when to look at the outlet, and when that is. An outlet that flowed freely may wait beyond its
/// interval by another one at most; where that has passed too, the flow is no reason to wait.
fn by_flow(facts: &Facts<'_>, basin: BasinIx, regular: &Regular) -> (Says, EventTime) {
    match flow(facts, basin) {
        says @ Says::Free { last, .. } => {
            let due = (last + BELIEVED).min(regular.due + regular.every);
            if due > regular.due.max(facts.now) { (says, due) } else { (Says::Nothing, regular.due) }
        }
        says @ Says::Weak { .. } => (says, regular.due.min(facts.now + SOON)),
        says @ (Says::Nothing | Says::Rule) => (says, regular.due),
    }
}

/// Whether a finding says that too little water passes the outlet of `basin`, whatever its share was of late.
fn is_held_back(facts: &Facts<'_>, basin: &Id) -> bool {
    facts.standing.iter().any(|standing| {
        standing.finding.kind == FindingKind::BlockedOutlet
            && standing.finding.subject == Subject::Basin(basin.clone())
    })
}

/// How the outlet ran in the doses of late, by the share that its basin received.
fn flow(facts: &Facts<'_>, basin: BasinIx) -> Says {
    let (id, design) = (&facts.system.basin(basin).id, facts.system.tree().design_share(basin));
    let seen: Vec<_> =
        facts.doses.iter().filter_map(|dose| Some((dose.at, *dose.shares.get(id)?, &dose.shares))).collect();
    // Shares are of the basins with a usable sensor, so the design counts among those only.
    let expected = |shares: &BTreeMap<Id, f64>| {
        let known = facts.system.basin_ixs().filter(|ix| shares.contains_key(&facts.system.basin(*ix).id));
        design / known.map(|ix| facts.system.tree().design_share(ix)).sum::<f64>().max(design)
    };
    let (Some((last, ..)), true) = (seen.last(), seen.len() >= ENOUGH_DOSES) else { return Says::Nothing };
    let received: f64 = seen.iter().map(|(_, share, _)| share).sum();
    let part = received / seen.iter().map(|(.., shares)| expected(shares)).sum::<f64>();
    if part < WEAK {
        Says::Weak { doses: seen.len(), part }
    } else if is_held_back(facts, id) {
        Says::Nothing
    } else {
        Says::Free { doses: seen.len(), last: *last, part }
    }
}

fn exercise_diverter(facts: &Facts<'_>, rules: &Rules) -> Draft {
    let subject = Subject::Diverter;
    let recorded = facts.done(&subject, Work::DiverterExercised);
    let turned = facts.diverter_turned.filter(|_| rules.intervals == Intervals::ByData);
    let regular = regular(facts, rules, recorded.max(turned), rules.exercise_diverter_every);
    let reason = english::exercise_diverter(facts.system, &regular, turned > recorded);
    draft(facts, TaskKind::ExerciseDiverter, subject, &regular, reason)
}

fn look(facts: &Facts<'_>, rules: &Rules) -> Draft {
    let regular = regular(facts, rules, facts.seen(&Subject::Source), rules.look_every);
    let reason = english::look(facts.system, &regular);
    draft(facts, TaskKind::YearlyLook, Subject::Source, &regular, reason)
}

fn regular(facts: &Facts<'_>, rules: &Rules, last: Option<EventTime>, every: Span) -> Regular {
    let (never, last) = (last.is_none(), last.unwrap_or(facts.begun()));
    let says = if rules.intervals == Intervals::Fixed { Says::Rule } else { Says::Nothing };
    // What was done before anybody kept a record is unknown, not overdue.
    let due = if never && says == Says::Nothing {
        (last + every).max(facts.since + CATCH_UP)
    } else {
        last + every
    };
    Regular { last, never, every, due, says }
}

fn draft(facts: &Facts<'_>, kind: TaskKind, subject: Subject, regular: &Regular, reason: String) -> Draft {
    let Regular { last, every, due, says, .. } = *regular;
    // With a visit at hand anyway, half the interval is long enough; the sooner something weakens, the sooner.
    let earliest = match says {
        Says::Weak { .. } => facts.now,
        Says::Nothing | Says::Rule | Says::Free { .. } => (last + every.scaled(0.5)).min(due),
    };
    let latest = due + every.scaled(0.25);
    let window = Window { earliest, due, latest };
    Draft { kind, subject, window, urgency: Severity::Info, mends: false, reason, materials: Vec::new() }
}
