//! From what is known of a system to what is to be done there.

mod after_flood;
mod mend;
mod mulch;
mod proof;
pub(super) mod regular;
#[cfg(test)]
mod tests;

pub use mulch::due as mulch_due;

use std::collections::BTreeMap;

use super::task::{Material, Task, TaskKey, TaskKind, Window};
use super::{Facts, Rules};
use crate::model::{Severity, Subject};

/// What is to be done at one system, most urgent first. Each task once: what mends comes before what prevents, and
/// work that includes another takes its place.
pub fn tasks(facts: &Facts<'_>, rules: &Rules) -> Vec<Task> {
    let mut found: BTreeMap<(TaskKind, Subject), Task> = BTreeMap::new();
    let derived = after_flood::tasks(facts)
        .into_iter()
        .chain(mend::tasks(facts))
        .chain(mulch::tasks(facts, rules))
        .chain(proof::tasks(facts))
        .chain(regular::tasks(facts, rules));
    for task in derived {
        let place = (task.key.kind, task.key.subject.clone());
        if includes(&task).iter().any(|kind| found.contains_key(&(*kind, task.key.subject.clone()))) {
            continue;
        }
        match found.get(&place) {
            Some(known) if known.mends && !task.mends || known.window.due <= task.window.due => {}
            Some(_) | None => {
                found.insert(place, task);
            }
        }
    }
    let mut tasks: Vec<Task> = found.into_values().collect();
    tasks.sort_by(|a, b| (a.window.due, &a.key).cmp(&(b.window.due, &b.key)));
    tasks
}

/// Kinds of work at the same place that do what `task` is for along the way.
fn includes(task: &Task) -> &'static [TaskKind] {
    match task.key.kind {
        TaskKind::RenewMulch => &[TaskKind::LoosenBasin],
        TaskKind::InspectOutlet => &[TaskKind::ClearOutlet, TaskKind::LoosenBasin],
        TaskKind::ChangeBattery => &[TaskKind::CheckProbe],
        TaskKind::FlowTest => &[TaskKind::LevelSplitter, TaskKind::CheckSlope],
        TaskKind::LoosenBasin
        | TaskKind::ClearOutlet
        | TaskKind::ClearLine
        | TaskKind::FindLeak
        | TaskKind::LevelSplitter
        | TaskKind::CheckSlope
        | TaskKind::CheckProbe
        | TaskKind::ExerciseDiverter
        | TaskKind::YearlyLook => &[],
    }
}

/// What makes one task differ from another of its kind.
struct Draft {
    kind: TaskKind,
    subject: Subject,
    window: Window,
    urgency: Severity,
    mends: bool,
    reason: String,
    materials: Vec<Material>,
}

impl Draft {
    fn at(self, facts: &Facts<'_>) -> Task {
        let Self { kind, subject, window, urgency, mends, reason, materials } = self;
        Task {
            key: TaskKey { system: facts.system.id.clone(), kind, subject },
            property: facts.system.property.clone(),
            window,
            urgency,
            mends,
            reason,
            materials,
            minutes: kind.minutes(),
        }
    }
}
