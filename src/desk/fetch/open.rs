//! Open findings, as they are to be told now.

use crate::advice::{DUE_WEEK_AGO, flood_due};
use crate::ledger::{ForecastRecord, LedgerFault, StoredFinding, View};
use crate::model::{EventTime, FindingKind, Span, Subject, System};
use crate::upkeep::Outlook;

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
    retell(stored, &view.forecasts_of(&stored.system, basin, from, EventTime::MAX)?);
    Ok(())
}

fn retell(stored: &mut StoredFinding, made: &[ForecastRecord]) {
    // A finding that foretells nothing yet goes on doing so.
    let (Some(newest), true) = (made.last(), flood_due(&stored.finding).is_some()) else { return };
    let before = week_before(made).map(|before| (DUE_WEEK_AGO, before.due));
    let told = [("due", newest.due), ("earliest", newest.earliest), ("latest", newest.latest)];
    for (name, at) in told.into_iter().chain(before) {
        stored.finding.estimate.insert(name.to_owned(), at.to_string().into());
    }
}

/// Of forecasts of one basin in order, that which counted a week before the newest.
pub(in crate::desk) fn week_before(made: &[ForecastRecord]) -> Option<&ForecastRecord> {
    let (newest, (least, most)) = (made.last()?.made, Outlook::WEEK_AGO);
    made.iter().rev().find(|it| (least..most).contains(&(newest - it.made)))
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
        let older = |days: i64, due: &str| ForecastRecord {
            made: made - Span::from_days(days),
            due: at(due),
            ..newest.clone()
        };
        let made = [
            older(9, "2026-12-20T12:00:00Z"),
            older(8, "2026-12-24T12:00:00Z"),
            older(2, "2026-12-16T12:00:00Z"),
            newest,
        ];
        retell(&mut stored, &made);
        assert_eq!(stored.finding.estimate["due"], "2026-12-14T05:00:00Z");
        assert_eq!(stored.finding.estimate["soak_time_h"], 9);
        let says = foretold(&stored.finding, &samples::terrace()).unwrap();
        assert!(
            says.ends_with(
                "floods about 13 December 2026, most likely between 1 December 2026 and 5 January 2027; a week ago: 24 \
                 December 2026."
            ),
            "{says}"
        );
    }
}
