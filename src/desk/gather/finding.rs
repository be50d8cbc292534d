//! One open finding.

use crate::advice::{advice, headline};
use crate::desk::sheet::{FindingSheet, Urgency};
use crate::desk::words;
use crate::ledger::StoredFinding;
use crate::model::{EventTime, Place, Quantity, Subject, System};

/// Open findings in the order in which people should read them: most urgent, then surest, then oldest.
pub(super) fn findings(system: &System, stored: &[StoredFinding], now: EventTime) -> Vec<FindingSheet> {
    let mut sheets: Vec<FindingSheet> = stored.iter().map(|finding| sheet(system, finding, now)).collect();
    sheets.sort_by(|a, b| {
        let key = |f: &FindingSheet| (f.urgency, f.kind);
        key(a).cmp(&key(b)).then(b.probability.total_cmp(&a.probability)).then(a.since.at.cmp(&b.since.at))
    });
    sheets
}

pub(in crate::desk) fn sheet(system: &System, stored: &StoredFinding, now: EventTime) -> FindingSheet {
    let finding = &stored.finding;
    let moment = |at| words::moment(at, now, &system.zone);
    FindingSheet {
        kind: finding.kind,
        anchor: anchor(stored),
        headline: headline(finding, system),
        urgency: Urgency::of(finding.severity),
        since: moment(stored.raised_at),
        probability: finding.probability,
        estimates: finding
            .estimate
            .iter()
            .filter(|(_, value)| !value.is_null())
            .map(|(name, value)| words::estimate(name, value, now, &system.zone))
            .collect(),
        evidence: finding.evidence.iter().map(|e| (e.at.map(moment), e.says.clone())).collect(),
        advice: advice(finding.kind),
    }
}

/// A name that serves as the id of an element: the kind and the subject, in `a-z`, `0-9` and `-`.
pub(super) fn anchor(stored: &StoredFinding) -> String {
    let subject = stored.finding.subject.key().replace([':', '/'], "-");
    format!("{}-{}-{subject}", stored.system, stored.finding.kind)
}

/// Whether a finding is about `basin`, its outlet or one of its sensors other than a battery.
pub(super) fn concerns_basin(subject: &Subject, basin: &str) -> bool {
    match subject {
        Subject::Basin(id) => id.as_str() == basin,
        Subject::Sensor(name) => name
            .split_once('/')
            .is_some_and(|(of, quantity)| of == basin && quantity != Quantity::Battery.name()),
        Subject::Splitter(_) | Subject::Source | Subject::Diverter => false,
    }
}

/// Whether the system has a diverter whose position is reported.
pub(super) fn has_diverter(system: &System) -> bool {
    system.find_sensor(Place::System, Quantity::Diverter).is_some()
}
