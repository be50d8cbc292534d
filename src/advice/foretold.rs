//! What a finding is foretold to come to, from the numbers that it holds.

use super::basin_words;
use crate::model::{EventTime, Finding, FindingKind, Subject, System};

/// Name of the estimate that says what day was expected a week ago.
pub const DUE_WEEK_AGO: &str = "due_week_ago";

/// The day on which the basin of `finding` is expected to flood, if it foretells one.
pub fn flood_due(finding: &Finding) -> Option<EventTime> {
    day_in(finding, "due")
}

/// The same as a sentence: `If it goes on like this, the “quince tree” basin floods about 6 December 2026, most likely
/// between 1 December 2026 and 20 December 2026.`
pub fn foretold(finding: &Finding, system: &System) -> Option<String> {
    let Subject::Basin(id) = &finding.subject else { return None };
    let basin = basin_words(system, system.find_basin(id.as_str())?);
    Some(format!("If it goes on like this, {basin} floods {}.", flood_days(finding, system)?))
}

/// When the basin of `finding` is expected to flood, and between which days with 80 % probability:
/// `about 6 December 2026, most likely between 1 December 2026 and 20 December 2026; a week ago: 12 December 2026`
pub fn flood_days(finding: &Finding, system: &System) -> Option<String> {
    let due = day(flood_due(finding)?, system);
    let mut told = format!("about {due}");
    if let Some((earliest, latest)) = day_in(finding, "earliest").zip(day_in(finding, "latest")) {
        told.extend([", most likely between ", &day(earliest, system), " and ", &day(latest, system)]);
    }
    let before = day_in(finding, DUE_WEEK_AGO).map(|at| day(at, system)).filter(|before| *before != due);
    told.extend(before.map(|before| format!("; a week ago: {before}")));
    Some(told)
}

fn day_in(finding: &Finding, name: &str) -> Option<EventTime> {
    if finding.kind != FindingKind::SlowSoak {
        return None;
    }
    finding.estimate.get(name)?.as_str()?.parse().ok()
}

fn day(at: EventTime, system: &System) -> String {
    at.timestamp().to_zoned_datetime(system.zone.clone()).strftime("%-d %B %Y").to_string()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::advice::samples;
    use crate::model::Severity;

    #[test]
    fn only_slow_soaking_foretells_and_only_with_a_day() {
        let system = samples::orchard();
        let told = |kind, estimate: &str| {
            let finding = Finding {
                kind,
                subject: samples::basin("quince"),
                severity: Severity::Info,
                probability: 0.9,
                estimate: serde_json::from_str(estimate).unwrap(),
                evidence: Vec::new(),
            };
            foretold(&finding, &system)
        };
        let due = r#"{"due": "2026-12-06T12:00:00Z"}"#;
        let says = "If it goes on like this, the “quince tree” basin floods about 6 December 2026.";
        assert_eq!(told(FindingKind::SlowSoak, due).as_deref(), Some(says));
        let between = r#"{"due": "2026-12-06T12:00:00Z", "earliest": "2026-12-01T12:00:00Z", "latest": "2026-12-20T12:00:00Z"}"#;
        assert!(
            told(FindingKind::SlowSoak, between).unwrap().ends_with(
                "about 6 December 2026, most likely between 1 December 2026 and 20 December 2026."
            )
        );
        assert_eq!(told(FindingKind::SlowSoak, r#"{"due": null}"#), None);
        assert_eq!(told(FindingKind::Ponding, due), None);
    }
}
