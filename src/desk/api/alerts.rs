//! Alerts, and what people do about them.

use std::sync::Arc;

use axum::Json;
use axum::extract::State;
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use super::asked::{Asked, Sent};
use super::paging::{Page, Paging};
use super::systems::seen;
use crate::alerts::{Act, AlertNo, Stage};
use crate::desk::gather;
use crate::desk::office::Office;
use crate::desk::people::Visitor;
use crate::desk::problem::Problem;
use crate::desk::sheet::{AlertChoice, AlertsAsked, TAKE_BACK};
use crate::desk::visit::alerts::{in_reach, step_all};
use crate::ledger::StoredAlert;
use crate::model::{EventTime, FindingKind, Id, Severity, Span, Subject};

/// An alert.
#[derive(Serialize, ToSchema)]
struct AlertWire {
    #[schema(value_type = u64)]
    alert: AlertNo,
    #[schema(value_type = String)]
    system: Id,
    #[schema(value_type = String)]
    finding: FindingKind,
    #[schema(value_type = Object)]
    subject: Subject,
    /// `info`, `warning` or `critical`.
    #[schema(value_type = String)]
    severity: Severity,
    /// One sentence for people; that of a flood or pond follows its water.
    headline: String,
    #[schema(value_type = String, format = DateTime)]
    opened_at: EventTime,
    #[schema(value_type = String, format = DateTime)]
    changed_at: EventTime,
    /// `open`, `acknowledged`, `snoozed` or `closed`.
    stage: &'static str,
    /// The alert that it is a consequence of.
    #[schema(value_type = Option<u64>)]
    under: Option<AlertNo>,
    /// How many are folded under it.
    folded: u32,
}

/// Whether closed alerts are listed as well.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct Past {
    /// Those that are over as well, as with `show=all`.
    #[serde(default)]
    past: bool,
}

/// What to do with several alerts at once.
#[derive(Debug, Deserialize, ToSchema)]
struct StepWire {
    /// Their numbers; at most 300.
    alerts: Vec<u64>,
    /// `acknowledge`, `snooze`, `take-back` (of either), `close` or `reopen`.
    act: String,
    /// How long to snooze, 1 to 2160; 24 without.
    hours: Option<i64>,
    /// Why it is closed although it still stands, or reopened.
    #[serde(default)]
    reason: String,
}

pub(super) fn routes() -> OpenApiRouter<Arc<Office>> {
    OpenApiRouter::new().routes(routes!(alerts)).routes(routes!(step))
}

/// Alerts, newest first.
#[utoipa::path(get, path = "/alerts", tag = "alerts", params(AlertsAsked, Past, Paging),
    responses((status = 200, body = Page<AlertWire>)))]
async fn alerts(
    visitor: Visitor,
    State(office): State<Arc<Office>>,
    Asked(mut asked): Asked<AlertsAsked>,
    Asked(past): Asked<Past>,
    Asked(paging): Asked<Paging>,
) -> Result<Json<Page<AlertWire>>, Problem> {
    if past.past && asked.show.is_empty() {
        AlertChoice::All.name().clone_into(&mut asked.show);
    }
    let mut sieve = asked.understood(&office.zone(&visitor)).map_err(Problem::wrong)?;
    if let Some(id) = &sieve.filter.system {
        seen(&office, &visitor, id.as_str())?;
    }
    sieve.filter.before = paging.after(|after| after.parse().ok().map(AlertNo))?;
    let found = in_reach(&office, &visitor, &sieve, paging.limit() + 1).await?;
    let board = office.shelf.latest(visitor.reach()).await?;
    let open = board.findings(&found.iter().map(|(_, system)| &system.id).collect());
    let now = office.now();
    let items = found.iter().map(|(alert, system)| {
        let finding = open
            .get(gather::anchor(&system.id, alert.finding.kind, &alert.finding.subject).as_str())
            .copied();
        wire(alert, gather::alert_row(system, alert, finding, now).headline)
    });
    let items = items.collect();
    Ok(Json(Page::first(items, paging.limit(), |alert: &AlertWire| alert.alert.to_string())))
}

/// One step with one alert or several: all are known before the first is taken.
#[utoipa::path(post, path = "/alerts/steps", tag = "alerts", request_body = StepWire,
    responses((status = 204, description = "Every step is recorded.")))]
async fn step(
    visitor: Visitor,
    State(office): State<Arc<Office>>,
    Sent(step): Sent<StepWire>,
) -> Result<axum::http::StatusCode, Problem> {
    let act = act(&step, office.now())?;
    let alerts = step.alerts.into_iter().map(AlertNo).collect();
    step_all(&office, &visitor, alerts, &act).await?;
    Ok(axum::http::StatusCode::NO_CONTENT)
}

fn act(step: &StepWire, now: EventTime) -> Result<Act, Problem> {
    let reason = step.reason.trim().to_owned();
    match (step.act.as_str(), step.hours.unwrap_or(24)) {
        ("acknowledge", _) => Ok(Act::Acknowledge),
        ("snooze", hours @ 1..=2160) => Ok(Act::Snooze { until: now + Span::from_hours(hours) }),
        ("snooze", _) => Err(Problem::wrong("`hours` must lie between 1 and 2160")),
        (TAKE_BACK, _) => Ok(Act::Withdraw),
        ("close", _) if reason.is_empty() => {
            Err(Problem::wrong("`reason` must say why the alert is closed although it still stands"))
        }
        ("close", _) => Ok(Act::Close { reason }),
        ("reopen", _) => Ok(Act::Reopen { reason }),
        _ => Err(Problem::wrong("`act` must be `acknowledge`, `snooze`, `take-back`, `close` or `reopen`")),
    }
}

fn wire(alert: &StoredAlert, headline: String) -> AlertWire {
    AlertWire {
        alert: alert.no,
        system: alert.system.clone(),
        finding: alert.finding.kind,
        subject: alert.finding.subject.clone(),
        severity: alert.finding.severity,
        headline,
        opened_at: alert.opened_at,
        changed_at: alert.changed_at,
        stage: match alert.stage {
            Stage::Open { .. } => "open",
            Stage::Acknowledged { .. } => "acknowledged",
            Stage::Snoozed { .. } => "snoozed",
            Stage::Closed { .. } => "closed",
        },
        under: alert.under,
        folded: alert.folded,
    }
}
