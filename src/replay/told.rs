//! The lines that replay writes. Their shape is a contract: scripts depend on it.

use std::collections::BTreeMap;

use serde::Serialize;
use serde_json::{Map, Value};

use crate::advice::{self, Advice};
use crate::engine::{Change, Dose, FindingChange};
use crate::model::{EventTime, Evidence, FindingKind, Severity, Subject, System};

/// One line of output.
#[derive(Serialize)]
#[serde(tag = "event", rename_all = "kebab-case")]
pub(super) enum Told<'a> {
    Finding(FindingTold<'a>),
    Dose(DoseTold<'a>),
    Summary(&'a Summary),
}

#[derive(Serialize)]
pub(super) struct FindingTold<'a> {
    change: Change,
    at: EventTime,
    system: &'a str,
    finding: FindingKind,
    subject: &'a Subject,
    severity: Severity,
    probability: f64,
    estimate: &'a Map<String, Value>,
    evidence: &'a [Evidence],
    advice: Advice,
}

#[derive(Serialize)]
pub(super) struct DoseTold<'a> {
    at: EventTime,
    system: &'a str,
    litres: Option<f64>,
    shares: BTreeMap<&'a str, f64>,
    quality: f64,
}

/// The last line.
#[derive(Default, Serialize)]
pub(super) struct Summary {
    pub(super) messages: u64,
    pub(super) readings: u64,
    pub(super) refused: BTreeMap<&'static str, u64>,
    pub(super) unassigned: u64,
    pub(super) systems: usize,
}

impl<'a> FindingTold<'a> {
    pub(super) fn new(system: &'a System, change: &'a FindingChange) -> Self {
        let finding = &change.finding;
        Self {
            change: change.change,
            at: change.at,
            system: system.id.as_str(),
            finding: finding.kind,
            subject: &finding.subject,
            severity: finding.severity,
            probability: finding.probability,
            estimate: &finding.estimate,
            evidence: &finding.evidence,
            advice: advice::advice(finding.kind),
        }
    }
}

impl<'a> DoseTold<'a> {
    pub(super) fn new(system: &'a System, dose: &Dose) -> Self {
        let shares = dose.shares.iter().map(|&(basin, share)| (system.basin(basin).id.as_str(), share));
        Self {
            at: dose.at,
            system: system.id.as_str(),
            litres: dose.litres,
            shares: shares.collect(),
            quality: dose.quality,
        }
    }
}
