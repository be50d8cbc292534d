//! Work that is not proved yet.

use std::collections::BTreeMap;

use super::Draft;
use crate::model::{EventTime, Id, Node, Severity, Span, Subject, Work};
use crate::upkeep::task::{Task, TaskKind, Window};
use crate::upkeep::{Facts, english};

/// Ordinary doses after the work that prove it as well as water run on purpose does.
const DOSES: usize = 12;
/// Work so long ago is proved by nothing having been found since.
const FORGOTTEN: Span = Span::from_days(60);

pub(super) fn tasks(facts: &Facts<'_>) -> Vec<Task> {
    let splitters = facts.system.splitters.iter();
    splitters.filter_map(|splitter| Some(draft(facts, &splitter.id)?.at(facts))).collect()
}

fn draft(facts: &Facts<'_>, splitter: &Id) -> Option<Draft> {
    let (work, at) = last_work(facts, splitter)?;
    let tests = || facts.tests.iter().filter(|test| test.splitter == *splitter && test.at >= at);
    let seen = doses_since(facts, splitter, at);
    if tests().any(|test| test.even) || seen >= DOSES || facts.now - at > FORGOTTEN {
        return None;
    }
    let in_vain = tests().map(|test| test.at).max();
    let mut window = Window::from_now(in_vain.unwrap_or(at), Span::from_days(14), Span::from_days(30));
    if in_vain.is_some() {
        // Ordinary doses may tell meanwhile what the test did not.
        window.earliest = window.earliest + Span::from_days(7);
    }
    let subject = Subject::Splitter(splitter.clone());
    Some(Draft {
        kind: TaskKind::FlowTest,
        window,
        urgency: Severity::Info,
        mends: false,
        reason: english::unproved(facts.system, splitter, (work, at), (seen, DOSES), in_vain),
        materials: Vec::new(),
        subject,
    })
}

/// The newest work that changed how `splitter` divides: its own levelling, or the clearing of an outlet that it feeds.
fn last_work(facts: &Facts<'_>, splitter: &Id) -> Option<(Work, EventTime)> {
    let levelled = facts.done(&Subject::Splitter(splitter.clone()), Work::SplitterLevelled);
    let ix = facts.system.find_splitter(splitter.as_str())?;
    let outlets = facts.system.tree().feeds(ix).into_iter().filter_map(|fed| match fed {
        Node::Basin(basin) => Some(Subject::Basin(facts.system.basin(basin).id.clone())),
        Node::Splitter(_) => None,
    });
    let cleared = outlets.filter_map(|outlet| facts.done(&outlet, Work::OutletCleared)).max();
    let all = levelled.map(|at| (Work::SplitterLevelled, at)).into_iter();
    all.chain(cleared.map(|at| (Work::OutletCleared, at))).max_by_key(|(_, at)| *at)
}

/// Doses since `at` that showed both sides of `splitter`.
fn doses_since(facts: &Facts<'_>, splitter: &Id, at: EventTime) -> usize {
    let system = facts.system;
    let Some(ix) = system.find_splitter(splitter.as_str()) else { return 0 };
    let sides = [0, 1].map(|side| {
        let below = system.basin_ixs().filter(|basin| system.tree().side_of(ix, *basin) == Some(side));
        below.map(|basin| &system.basin(basin).id).collect::<Vec<_>>()
    });
    let shows = |shares: &BTreeMap<Id, f64>| {
        sides.iter().all(|side| side.iter().any(|basin| shares.contains_key(*basin)))
    };
    facts.doses.iter().filter(|dose| dose.at > at && shows(&dose.shares)).count()
}
