//! What to bring along for findings and tasks together.

use std::collections::{BTreeMap, BTreeSet};
use std::iter;
use std::sync::Arc;

use super::rows::{is_for_next, material_words, next_visits, summed};
use crate::advice::Advice;
use crate::desk::gather;
use crate::desk::sheet::FindingSheet;
use crate::desk::shelf::Drawn;
use crate::desk::units::Units;
use crate::model::{EventTime, Id, System};
use crate::schedule::Upkeep;
use crate::upkeep::{Material, Task, TaskKey, TaskKind, Visit};

/// Everything that the steps of `advice` and of `tasks` need, each thing once: what is used up first, then tools.
pub(in crate::desk) fn bring<'a>(
    advice: &[Advice],
    tasks: impl Iterator<Item = (TaskKind, &'a [Material])>,
    units: Units,
) -> Vec<String> {
    let tasks: Vec<_> = tasks.collect();
    let materials = summed(tasks.iter().flat_map(|(_, materials)| *materials));
    let is_counted = |thing: &str| {
        let of =
            |what: &str| COUNTED.iter().any(|(begin, word)| what.starts_with(begin) && thing.contains(word));
        materials.iter().any(|material| of(material.what))
    };
    let advised = advice.iter().flat_map(|advice| advice.bring.iter().copied());
    // What a task counts says more than the same thing without a number.
    let advised = advised.filter(|thing| !is_counted(thing));
    let tools = tasks.iter().flat_map(|(kind, _)| kind.tools().iter().copied());
    let mut things: Vec<&str> = Vec::new();
    for thing in advised.chain(tools) {
        if !things.iter().any(|known| names(known, thing)) {
            things.retain(|known| !names(thing, known));
            things.push(thing);
        }
    }
    // The same list in the same order wherever it stands, however findings and tasks are sorted there.
    things.sort_unstable();
    let mut materials: Vec<_> = materials.iter().collect();
    materials.sort_by_key(|material| material.what);
    let materials = materials.into_iter().map(|material| material_words(material, units));
    materials.chain(things.into_iter().map(str::to_owned)).collect()
}

/// What to bring on the next visit to each property, by the number of that visit: for what is wrong there, and for all that
/// is to be done then; the visit sheet has the same list.
pub(super) fn bring_next(
    upkeep: &Upkeep,
    systems: &[Arc<System>],
    board: &Drawn,
    units: Units,
    now: EventTime,
) -> BTreeMap<u64, Vec<String>> {
    let next = next_visits(upkeep);
    let mut there: BTreeMap<&Id, Vec<&Task>> = BTreeMap::new();
    for task in upkeep.tasks.values().filter(|task| is_for_next(task, &next, now)) {
        there.entry(&task.property).or_default().push(task);
    }
    let of = |(property, visit): (&&Id, &&Visit)| {
        let here: BTreeSet<&Id> =
            systems.iter().filter(|system| system.property == **property).map(|system| &system.id).collect();
        let advice: Vec<Advice> = board.findings(&here).values().map(|finding| finding.advice).collect();
        let tasks = there.get(*property).into_iter().flatten().filter(|task| here.contains(&task.key.system));
        (visit.no, bring(&advice, tasks.map(|task| (task.key.kind, task.materials.as_slice())), units))
    };
    next.iter().map(of).collect()
}

/// Names beside each finding what to bring for it, counted as the task that mends it counts.
pub(in crate::desk) fn count_what_to_bring(
    findings: &mut [FindingSheet],
    upkeep: &Upkeep,
    system: &System,
    units: Units,
) {
    let counts = |task: &&Task| task.key.system == system.id && !task.materials.is_empty();
    for task in upkeep.tasks.values().filter(counts) {
        let TaskKey { kind, subject, .. } = &task.key;
        for finding in findings.iter_mut().filter(|finding| {
            kind.mends(finding.kind) && finding.anchor == gather::anchor(&system.id, finding.kind, subject)
        }) {
            finding.bring = bring(&[finding.advice], iter::once((*kind, task.materials.as_slice())), units);
        }
    }
}

/// How materials begin, and the word of advice for the same thing.
const COUNTED: [(&str, &str); 3] =
    [("wood chips", "wood chips"), ("battery", "batter"), ("spare", "spare sensor")];

/// Whether who brings `whole` has `part` with it: `waterproof gloves` are `gloves`, and a `bucket with a litre scale` is a
/// `bucket`.
fn names(whole: &str, part: &str) -> bool {
    whole == part
        || whole.ends_with(&format!(" {part}"))
        || [" with ", " of ", " for "].iter().any(|then| whole.starts_with(&format!("{part}{then}")))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::advice::advice;
    use crate::desk::samples;
    use crate::model::{FindingKind, Severity, Subject};
    use crate::upkeep::Window;

    /// What the steps of the advice speak of is among what to bring, whatever tasks stand beside it.
    #[test]
    fn what_findings_and_tasks_need_is_brought_once() {
        let chips = [Material { what: "wood chips, coarse", quantity: 160.0, unit: "L" }];
        let advice = [FindingKind::Flooding, FindingKind::BlockedOutlet].map(|kind| advice(kind, None));
        let tasks = [(TaskKind::LoosenBasin, &chips[..]), (TaskKind::ClearOutlet, &[][..])];
        let all = bring(&advice, tasks.into_iter(), Units::Metric);
        for needed in ["flexible drain brush", "garden fork", "rake", "watch", "pruning saw"] {
            assert_eq!(all.iter().filter(|thing| *thing == needed).count(), 1, "{needed}: {all:?}");
        }
        assert_eq!(all.iter().filter(|thing| thing.contains("wood chips")).count(), 1, "{all:?}");
        assert_eq!(all.iter().filter(|thing| thing.contains("gloves")).count(), 1, "{all:?}");
        assert_eq!(all.iter().filter(|thing| thing.starts_with("bucket")).count(), 2, "{all:?}");
        assert!(!all.contains(&"bucket".to_owned()), "one of the two will do: {all:?}");
    }

    #[test]
    fn chips_are_counted_where_the_task_counts_them() {
        let (system, now) = (samples::terrace(), "2026-06-01T12:00:00Z".parse().unwrap());
        let subject = Subject::Basin(Id::new("quince").unwrap());
        let open = samples::flood(&system, "quince", now);
        let readings = gather::Readings::new(&system, &[], now);
        let of = |key: TaskKey| {
            let task = Task {
                property: system.property.clone(),
                window: Window { earliest: now, due: now, latest: now },
                urgency: Severity::Critical,
                mends: true,
                reason: String::new(),
                materials: vec![Material { what: "wood chips, coarse", quantity: 240.0, unit: "L" }],
                minutes: 60,
                key,
            };
            let upkeep = Upkeep { tasks: [(task.key.clone(), task)].into(), ..Upkeep::default() };
            let beside = gather::beside(std::slice::from_ref(&open), &open);
            let mut sheets = [gather::finding_sheet(&system, &open, beside, readings, Units::Metric)];
            count_what_to_bring(&mut sheets, &upkeep, &system, Units::Metric);
            sheets[0].bring.join("; ")
        };
        let key = |subject| TaskKey { system: system.id.clone(), kind: TaskKind::LoosenBasin, subject };
        let counted = of(key(subject));
        assert!(
            counted.contains("240\u{a0}L wood chips, coarse") && !counted.contains("fresh wood chips"),
            "{counted}"
        );
        let elsewhere = of(key(Subject::Basin(Id::new("fig").unwrap())));
        assert!(elsewhere.contains("fresh wood chips") && !elsewhere.contains("240"), "{elsewhere}");
    }
}
