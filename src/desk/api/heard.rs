//! What arrived and could not be used. Topics and payloads of all properties lie side by side here, so
//! only those who see every property see it.

use std::sync::Arc;

use axum::Json;
use axum::extract::State;
use serde::Serialize;
use utoipa::ToSchema;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use crate::desk::office::Office;
use crate::desk::people::Visitor;
use crate::desk::problem::Problem;
use crate::desk::visit::ask;
use crate::ledger::View;
use crate::model::EventTime;

/// A topic that no system claims.
#[derive(Serialize, ToSchema)]
struct StrayWire {
    topic: String,
    messages: u64,
    #[schema(value_type = String, format = DateTime)]
    last_at: EventTime,
    /// The beginning of the last payload.
    sample: String,
}

/// One refused record.
#[derive(Serialize, ToSchema)]
struct RefusalWire {
    #[schema(value_type = String, format = DateTime)]
    at: EventTime,
    reason: String,
    topic: String,
    /// The beginning of the payload.
    sample: String,
    detail: String,
}

/// What arrived.
#[derive(Serialize, ToSchema)]
struct HeardWire {
    messages: u64,
    readings: u64,
    /// Refused records by reason.
    #[schema(value_type = Object)]
    refused: std::collections::BTreeMap<String, u64>,
    /// The newest refused records.
    refusals: Vec<RefusalWire>,
    /// Topics under the prefix that no system claims.
    unassigned: Vec<StrayWire>,
}

pub(super) fn routes() -> OpenApiRouter<Arc<Office>> {
    OpenApiRouter::new().routes(routes!(heard))
}

/// What arrived, what was refused, and what nobody claims. Bounded; for those who see every property.
#[utoipa::path(get, path = "/heard", tag = "readings", responses((status = 200, body = HeardWire)))]
async fn heard(visitor: Visitor, State(office): State<Arc<Office>>) -> Result<Json<HeardWire>, Problem> {
    if !visitor.sees_everything() {
        return Err(Problem::forbidden("this tells about properties that you do not look after"));
    }
    let read = |view: &View| Ok((view.totals()?, view.refusals()?, view.unassigned()?));
    let (totals, refusals, unassigned) = ask(&office, read).await?;
    let refusal = |it: crate::ledger::RefusalSample| RefusalWire {
        at: it.at,
        reason: it.reason,
        topic: it.topic,
        sample: it.sample,
        detail: it.detail,
    };
    let stray = |it: crate::ledger::Unassigned| StrayWire {
        topic: it.topic,
        messages: it.count,
        last_at: it.last_at,
        sample: it.sample,
    };
    Ok(Json(HeardWire {
        messages: totals.messages,
        readings: totals.readings,
        refused: refusals.counts,
        refusals: refusals.samples.into_iter().map(refusal).collect(),
        unassigned: office.unclaimed(unassigned).into_iter().map(stray).collect(),
    }))
}
