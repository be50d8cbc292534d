//! The lines that replay writes. Their shape is a contract: scripts depend on it.

use std::collections::BTreeMap;

use serde::Serialize;
use serde_json::{Map, Value};

use crate::advice::{self, Advice};
use crate::engine::{Change, Dose, FindingChange, Forecast};
use crate::model::{EventTime, Evidence, FindingKind, Severity, Subject, System};

/// One line of output.
#[derive(Serialize)]
#[serde(tag = "event", rename_all = "kebab-case")]
pub(super) enum Told<'a> {
    Finding(FindingTold<'a>),
    Dose(DoseTold<'a>),
    Forecast(ForecastTold<'a>),
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

#[derive(Serialize)]
pub(super) struct ForecastTold<'a> {
    system: &'a str,
    basin: &'a str,
    task: &'static str,
    due: EventTime,
    earliest: EventTime,
    latest: EventTime,
    basis: &'a str,
    litres_since_service: f64,
    mulch_left: f64,
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
            advice: advice::advice(finding.kind, Some(system)),
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

impl<'a> ForecastTold<'a> {
    pub(super) fn new(system: &'a System, forecast: &'a Forecast) -> Self {
        Self {
            system: system.id.as_str(),
            basin: system.basin(forecast.basin).id.as_str(),
            task: "renew-mulch",
            due: forecast.due,
            earliest: forecast.earliest,
            latest: forecast.latest,
            basis: &forecast.basis,
            litres_since_service: forecast.litres.round(),
            mulch_left: (forecast.mulch_left * 1000.0).round() / 1000.0,
        }
    }
}
