//! What went wrong, run by run, so that nobody has to guess what a percentage hides.

use serde::Serialize;

use super::judge::{Outcome, Verdict};
use super::plan::Class;

/// One thing that went wrong in one run.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Failure {
    /// Name of the scenario.
    pub scenario: String,
    /// Seed.
    pub seed: u64,
    /// What should have been said, in words.
    pub should_be: String,
    /// What was said.
    pub was: String,
}

/// Every warning of a healthy yard, and every fault of the classes that have a goal which was not found, not where it
/// was, or first taken for something else.
pub(super) fn failures(verdicts: &[Verdict]) -> Vec<Failure> {
    let has_goal = |verdict: &&Verdict| verdict.class != Class::Other;
    verdicts.iter().filter(has_goal).flat_map(of_run).collect()
}

fn of_run(verdict: &Verdict) -> Vec<Failure> {
    let failure = |should_be: String, was: String| Failure {
        scenario: verdict.scenario.clone(),
        seed: verdict.seed,
        should_be,
        was,
    };
    if verdict.class == Class::Healthy {
        let warning = |alarm: &super::Alarm| {
            let was = format!("{} {} on day {:.0}", alarm.finding, alarm.subject, alarm.day);
            failure("nothing".to_owned(), was)
        };
        return verdict.false_warnings.iter().map(warning).collect();
    }
    let of_outcome = |outcome: &Outcome| {
        Some(failure(format!("{} {}", outcome.finding, outcome.subject), what_was(outcome)?))
    };
    let mut failures: Vec<Failure> = verdict.outcomes.iter().filter_map(of_outcome).collect();
    if verdict.slow_soak_first == Some(false) {
        failures
            .push(failure("slow-soak before the first flood".to_owned(), "later or not at all".to_owned()));
    }
    failures
}

/// What was said instead, if it was not what should have been said first.
fn what_was(outcome: &Outcome) -> Option<String> {
    let first = outcome.first_named.as_deref().unwrap_or("nothing");
    match (outcome.found, outcome.right_subject) {
        (false, _) => Some(format!("not found, {first} first")),
        (true, false) => Some("elsewhere first".to_owned()),
        (true, true) if first != outcome.finding => Some(format!("{first} first")),
        (true, true) => None,
    }
}
