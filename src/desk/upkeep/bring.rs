//! What to bring along for findings and tasks together.

use super::rows::{material_words, summed};
use crate::advice::Advice;
use crate::desk::units::Units;
use crate::upkeep::{Material, TaskKind};

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

/// How materials begin, and the word of advice for the same thing.
const COUNTED: [(&str, &str); 3] =
    [("wood chips", "wood chips"), ("battery", "batter"), ("spare", "spare sensor")];

/// Whether `whole` names `part` among other things: `waterproof gloves and boots` does `gloves`.
fn names(whole: &str, part: &str) -> bool {
    whole == part
        || whole.split(" and ").any(|one| one == part || one.ends_with(&format!(" {part}")))
        || [" and ", " for "].iter().any(|then| whole.starts_with(&format!("{part}{then}")))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::advice::advice;
    use crate::model::FindingKind;

    /// What the steps of the advice speak of is among what to bring, whatever tasks stand beside it.
    #[test]
    fn what_findings_and_tasks_need_is_brought_once() {
        let chips = [Material { what: "wood chips, coarse", quantity: 160.0, unit: "L" }];
        let advice = [FindingKind::Flooding, FindingKind::BlockedOutlet].map(|kind| advice(kind, None));
        let tasks = [(TaskKind::LoosenBasin, &chips[..]), (TaskKind::ClearOutlet, &[][..])];
        let all = bring(&advice, tasks.into_iter(), Units::Metric);
        for needed in ["flexible drain brush", "garden fork and rake", "bucket and a watch", "pruning saw"] {
            assert_eq!(all.iter().filter(|thing| *thing == needed).count(), 1, "{needed}: {all:?}");
        }
        assert_eq!(all.iter().filter(|thing| thing.contains("wood chips")).count(), 1, "{all:?}");
        assert!(!all.contains(&"waterproof gloves".to_owned()), "{all:?}");
        assert!(all.contains(&"waterproof gloves and boots".to_owned()), "{all:?}");
    }
}
