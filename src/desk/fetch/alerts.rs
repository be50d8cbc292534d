//! The alerts of open findings.

use crate::ledger::{AlertFilter, LedgerFault, StoredAlert, StoredFinding, View};
use crate::model::{FindingKind, Id, Subject};

/// Standing alerts that are read at most.
const STANDING: usize = 20_000;
/// Closed alerts of one kind at one system among which that of a finding is looked for.
const CLOSED: usize = 50;

/// The alerts about the findings in `open`, of `system` or of all: those that stand, or else the newest that is closed,
/// for somebody may have closed it although its finding goes on. Of a storm only what stands.
pub(in crate::desk) fn alerts(
    view: &View,
    system: Option<&Id>,
    open: &[StoredFinding],
) -> Result<Vec<StoredAlert>, LedgerFault> {
    let stand = AlertFilter { system: system.cloned(), standing: Some(true), ..AlertFilter::default() };
    let mut alerts = view.alerts(&stand, STANDING)?;
    alerts.sort_by(|a, b| key(a).cmp(&key(b)));
    if alerts.len() == STANDING {
        return Ok(alerts);
    }
    let mut closed = Vec::new();
    for stored in open {
        let sought = (&stored.system, stored.finding.kind, &stored.finding.subject);
        if alerts.binary_search_by(|alert| key(alert).cmp(&sought)).is_err() {
            closed.extend(closed_of(view, stored)?);
        }
    }
    alerts.append(&mut closed);
    Ok(alerts)
}

fn key(alert: &StoredAlert) -> (&Id, FindingKind, &Subject) {
    (&alert.system, alert.finding.kind, &alert.finding.subject)
}

/// The newest alert about `stored` that is closed.
fn closed_of(view: &View, stored: &StoredFinding) -> Result<Option<StoredAlert>, LedgerFault> {
    let filter = AlertFilter {
        system: Some(stored.system.clone()),
        standing: Some(false),
        kind: Some(stored.finding.kind),
        ..AlertFilter::default()
    };
    let mut closed = view.alerts(&filter, CLOSED)?.into_iter();
    Ok(closed.find(|alert| alert.finding.subject == stored.finding.subject))
}
