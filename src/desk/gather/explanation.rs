//! What could explain a finding, and what tells the explanations apart.

use crate::advice::{drift_check, kind_words, place_words, separating_check};
use crate::desk::sheet::Doubt;
use crate::desk::words;
use crate::model::{Finding, FindingKind, Subject, System};

/// That nothing is wrong is told as an explanation from this probability on.
const WORTH_TELLING: f64 = 0.02;
/// A second explanation this probable is worth a check.
const WORTH_CHECKING: f64 = 0.05;

/// One explanation of what was seen.
pub(super) struct Explanation {
    /// What is wrong and where; none if nothing is.
    fault: Option<(FindingKind, Subject)>,
    pub(super) probability: f64,
}

impl Explanation {
    pub(super) fn words(&self, system: &System) -> String {
        match &self.fault {
            Some((kind, subject)) => {
                format!("{}: {}", words::capitalised(kind_words(*kind)), place_words(system, subject))
            }
            None => "Nothing is wrong: the sensors drifted".to_owned(),
        }
    }
}

/// Every explanation, most probable first; that nothing is wrong is one of them.
pub(super) fn explanations(finding: &Finding) -> Vec<Explanation> {
    let told = finding.estimate.get("explanations").and_then(|told| told.as_array());
    let read = |told: &serde_json::Value| {
        let kind = FindingKind::named(told.get("finding")?.as_str()?)?;
        let subject = serde_json::from_value(told.get("subject")?.clone()).ok()?;
        Some(Explanation { fault: Some((kind, subject)), probability: told.get("probability")?.as_f64()? })
    };
    let nothing = finding.estimate.get("no_fault").and_then(serde_json::Value::as_f64);
    let nothing = nothing.filter(|&probability| probability >= WORTH_TELLING);
    let nothing = nothing.map(|probability| Explanation { fault: None, probability });
    let mut all: Vec<_> = told.into_iter().flatten().filter_map(read).chain(nothing).collect();
    all.sort_by(|a, b| b.probability.total_cmp(&a.probability));
    all
}

/// What tells the first two explanations apart, where the second is likely enough to be worth the way.
pub(super) fn check(explained: &[Explanation]) -> Option<&'static str> {
    let [first, second, ..] = explained else { return None };
    if second.probability < WORTH_CHECKING {
        return None;
    }
    match (&first.fault, &second.fault) {
        (Some((first, _)), Some((second, _))) => separating_check(*first, *second),
        (Some((fault, _)), None) | (None, Some((fault, _))) => drift_check(*fault),
        (None, None) => None,
    }
}

/// The next likely explanation of `finding`, where it is likely enough to be looked at on the spot.
pub(super) fn doubt(system: &System, finding: &Finding) -> Option<Doubt> {
    let explained = explanations(finding);
    let second = explained.get(1).filter(|second| second.probability >= WORTH_CHECKING)?;
    Some(Doubt { words: second.words(system), probability: second.probability, check: check(&explained) })
}
