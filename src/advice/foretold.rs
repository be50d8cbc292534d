//! What a finding is foretold to come to, from the numbers that it holds.

use super::basin_words;
use crate::model::{EventTime, Finding, FindingKind, Subject, System};

/// The day on which the basin of `finding` is expected to flood, if it foretells one.
pub fn flood_due(finding: &Finding) -> Option<EventTime> {
    if finding.kind != FindingKind::SlowSoak {
        return None;
    }
    finding.estimate.get("due")?.as_str()?.parse().ok()
}

/// The same as a sentence: `If it goes on like this, the “quince tree” basin floods about 6 December 2026.`
pub fn foretold(finding: &Finding, system: &System) -> Option<String> {
    let due = flood_due(finding)?;
    let Subject::Basin(id) = &finding.subject else { return None };
    let basin = basin_words(system, system.find_basin(id.as_str())?);
    let day = due.timestamp().to_zoned_datetime(system.zone.clone()).strftime("%-d %B %Y");
    Some(format!("If it goes on like this, {basin} floods about {day}."))
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
        assert_eq!(told(FindingKind::SlowSoak, r#"{"due": null}"#), None);
        assert_eq!(told(FindingKind::Ponding, due), None);
    }
}
