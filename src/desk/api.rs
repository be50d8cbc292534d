//! The same for programs, as JSON.

use std::sync::Arc;

use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use axum::routing::get;
use axum::{Json, Router};
use serde::Serialize;
use tracing::error;

use super::office::Office;
use super::people::Visitor;
use super::visit::ask;
use crate::advice::{self, Advice};
use crate::ledger::{Latest, LedgerFault, StoredFinding};
use crate::model::{EventTime, FindingKind, Id, Quantity, Severity, Subject, System};
use crate::telemetry::chain;

/// A system in force.
#[derive(Serialize)]
struct SystemWire<'a> {
    id: &'a Id,
    name: &'a str,
    property: &'a Id,
    timezone: Option<&'a str>,
    soil: &'a str,
    basins: Vec<BasinWire<'a>>,
}

#[derive(Serialize)]
struct BasinWire<'a> {
    id: &'a Id,
    plant: Option<&'a str>,
    design_share: f64,
}

/// An open finding.
#[derive(Serialize)]
struct FindingWire<'a> {
    system: &'a Id,
    finding: FindingKind,
    subject: &'a Subject,
    severity: Severity,
    probability: f64,
    raised_at: EventTime,
    changed_at: EventTime,
    headline: Option<String>,
    estimate: &'a serde_json::Map<String, serde_json::Value>,
    evidence: &'a [crate::model::Evidence],
    advice: Advice,
}

/// The newest reading of one sensor.
#[derive(Serialize)]
struct LatestWire<'a> {
    system: &'a Id,
    sensor: &'a str,
    quantity: Quantity,
    at: EventTime,
    value: f64,
}

pub(super) fn routes() -> Router<Arc<Office>> {
    Router::new()
        .route("/systems", get(systems))
        .route("/findings", get(findings))
        .route("/latest", get(latest))
}

/// `GET /api/v1/systems`
async fn systems(visitor: Visitor, State(office): State<Arc<Office>>) -> Response {
    let systems = office.systems(&visitor);
    Json(systems.iter().map(|system| system_wire(system)).collect::<Vec<_>>()).into_response()
}

/// `GET /api/v1/findings`: what is wrong now.
async fn findings(visitor: Visitor, State(office): State<Arc<Office>>) -> Response {
    let systems = office.systems(&visitor);
    match ask(&office, crate::ledger::View::findings_open).await {
        Ok(open) => {
            let open = open.iter().filter(|stored| is_seen(&stored.system, &systems));
            Json(open.map(|stored| finding_wire(stored, &systems)).collect::<Vec<_>>()).into_response()
        }
        Err(fault) => unreadable(&fault),
    }
}

/// `GET /api/v1/latest`: the newest reading of every sensor.
async fn latest(visitor: Visitor, State(office): State<Arc<Office>>) -> Response {
    let systems = office.systems(&visitor);
    match ask(&office, |view| view.latest(None)).await {
        Ok(latest) => Json(
            latest
                .iter()
                .filter(|reading| is_seen(&reading.system, &systems))
                .map(latest_wire)
                .collect::<Vec<_>>(),
        )
        .into_response(),
        Err(fault) => unreadable(&fault),
    }
}

/// Whether a system is among those that the visitor may see.
fn is_seen(id: &Id, systems: &[Arc<System>]) -> bool {
    systems.iter().any(|system| system.id == *id)
}

fn unreadable(fault: &LedgerFault) -> Response {
    error!(error = %chain(fault), "cannot answer a program");
    let body = serde_json::json!({ "title": "the ledger cannot be read just now", "status": 503 });
    (StatusCode::SERVICE_UNAVAILABLE, Json(body)).into_response()
}

fn system_wire(system: &System) -> SystemWire<'_> {
    let basin = |ix| {
        let basin = system.basin(ix);
        BasinWire {
            id: &basin.id,
            plant: basin.plant.as_deref(),
            design_share: system.tree().design_share(ix),
        }
    };
    SystemWire {
        id: &system.id,
        name: &system.name,
        property: &system.property,
        timezone: system.zone.iana_name(),
        soil: system.soil.name(),
        basins: system.basin_ixs().map(basin).collect(),
    }
}

fn finding_wire<'a>(stored: &'a StoredFinding, systems: &[Arc<System>]) -> FindingWire<'a> {
    let finding = &stored.finding;
    let system = systems.iter().find(|system| system.id == stored.system);
    FindingWire {
        system: &stored.system,
        finding: finding.kind,
        subject: &finding.subject,
        severity: finding.severity,
        probability: finding.probability,
        raised_at: stored.raised_at,
        changed_at: stored.changed_at,
        headline: system.map(|system| advice::headline(finding, system)),
        estimate: &finding.estimate,
        evidence: &finding.evidence,
        advice: advice::advice(finding.kind),
    }
}

fn latest_wire(latest: &Latest) -> LatestWire<'_> {
    LatestWire {
        system: &latest.system,
        sensor: &latest.sensor,
        quantity: latest.quantity,
        at: latest.at,
        value: latest.value,
    }
}
