//! Open findings, as they are to be told now.

use crate::advice::flood_due;
use crate::ledger::{ForecastRecord, LedgerFault, StoredFinding, View};
use crate::model::{EventTime, FindingKind, Span, Subject, System};

/// Forecasts are told at least this often, unless nothing is heard.
const TOLD_WITHIN: Span = Span::from_days(35);

/// The open findings of `system`, oldest first. A flood that one foretells is foretold as the newest forecast says: a
/// finding is told again only when it changes, a forecast every day.
pub(in crate::desk) fn open(view: &View, system: &System) -> Result<Vec<StoredFinding>, LedgerFault> {
    let mut open = view.findings_open_in(&system.id)?;
    for stored in &mut open {
        foretell(view, stored)?;
    }
    Ok(open)
}

/// Tells the flood that `stored` foretells, if it is open, as the newest forecast says.
pub(in crate::desk) fn foretell(view: &View, stored: &mut StoredFinding) -> Result<(), LedgerFault> {
    let Subject::Basin(basin) = &stored.finding.subject else { return Ok(()) };
    if stored.finding.kind != FindingKind::SlowSoak || stored.cleared_at.is_some() {
        return Ok(());
    }
    let from = stored.changed_at - TOLD_WITHIN;
    if let Some(newest) = view.forecasts_of(&stored.system, basin, from, EventTime::MAX)?.pop() {
        retell(stored, &newest);
    }
    Ok(())
}

fn retell(stored: &mut StoredFinding, newest: &ForecastRecord) {
    // A finding that foretells nothing yet goes on doing so.
    if flood_due(&stored.finding).is_none() {
        return;
    }
    for (name, at) in [("due", newest.due), ("earliest", newest.earliest), ("latest", newest.latest)] {
        stored.finding.estimate.insert(name.to_owned(), at.to_string().into());
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::advice::foretold;
    use crate::desk::samples;
    use crate::model::{Finding, Id, Severity};

    #[test]
    fn a_flood_is_foretold_as_the_newest_forecast_says() {
        let at = |text: &str| -> EventTime { text.parse().unwrap() };
        let quince = Id::new("quince").unwrap();
        let finding = Finding {
            kind: FindingKind::SlowSoak,
            subject: Subject::Basin(quince.clone()),
            severity: Severity::Warning,
            probability: 0.9,
            estimate: serde_json::from_str(r#"{"due": "2026-12-06T18:00:00Z", "soak_time_h": 9}"#).unwrap(),
            evidence: Vec::new(),
        };
        let (raised_at, made) = (at("2026-11-02T12:00:00Z"), at("2026-11-20T12:00:00Z"));
        let mut stored = StoredFinding {
            system: samples::terrace().id.clone(),
            raised_at,
            changed_at: raised_at,
            cleared_at: None,
            finding,
        };
        let newest = ForecastRecord {
            basin: quince,
            made,
            // Still the 13th in Denver.
            due: at("2026-12-14T05:00:00Z"),
            earliest: at("2026-12-01T12:00:00Z"),
            latest: at("2027-01-05T12:00:00Z"),
            basis: String::new(),
            litres: 900.0,
            mulch_left: 0.4,
        };
        retell(&mut stored, &newest);
        assert_eq!(stored.finding.estimate["due"], "2026-12-14T05:00:00Z");
        assert_eq!(stored.finding.estimate["soak_time_h"], 9);
        let says = foretold(&stored.finding, &samples::terrace()).unwrap();
        assert!(says.ends_with("floods about 13 December 2026."), "{says}");
    }
}
