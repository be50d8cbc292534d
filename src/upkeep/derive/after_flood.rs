//! Floods that went away by themselves: nobody knows yet why the water stood.

use std::collections::BTreeMap;

use super::{Draft, mulch};
use crate::model::{FindingKind, Severity, Span, Subject};
use crate::upkeep::task::{Task, TaskKind, Window};
use crate::upkeep::{Facts, PastFlood, english};

/// A basin is looked at within this after its flood: it will flood again under the same load, and what kept the water
/// up can still be seen (common practice, no published source).
const DUE: Span = Span::from_days(7);
const LATEST: Span = Span::from_days(21);

/// Basins that flooded of late and that nobody has seen since their last flood began.
pub(super) fn tasks(facts: &Facts<'_>) -> Vec<Task> {
    let mut floods: BTreeMap<&Subject, Vec<&PastFlood>> = BTreeMap::new();
    for flood in facts.past_floods {
        floods.entry(&flood.basin).or_default().push(flood);
    }
    let unseen = floods.into_iter().filter_map(|(basin, floods)| {
        let last = floods.iter().max_by_key(|flood| flood.until)?;
        let seen = facts.seen(basin).is_some_and(|at| at >= last.since);
        (!seen && !stands(facts, basin)).then(|| draft(facts, last, floods.len()).at(facts))
    });
    unseen.collect()
}

/// Whether water stands there still or again, so that this is what is mended.
fn stands(facts: &Facts<'_>, basin: &Subject) -> bool {
    let of_water = |kind| matches!(kind, FindingKind::Flooding | FindingKind::Ponding);
    facts.standing.iter().any(|it| of_water(it.finding.kind) && it.finding.subject == *basin)
}

fn draft(facts: &Facts<'_>, last: &PastFlood, times: usize) -> Draft {
    Draft {
        kind: TaskKind::LoosenBasin,
        subject: last.basin.clone(),
        window: Window::from_now(last.until, DUE, LATEST),
        urgency: Severity::Warning,
        mends: true,
        reason: english::flood_unseen(facts.system, last, times),
        materials: mulch::chips(facts.system, &last.basin, 0.0).into_iter().collect(),
    }
}
