//! Maintenance mode of a system.

use std::sync::Arc;

use axum::Json;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use super::asked::Sent;
use super::systems::seen;
use crate::desk::mute;
use crate::desk::office::Office;
use crate::desk::people::Visitor;
use crate::desk::problem::Problem;
use crate::ledger::Muted;
use crate::model::EventTime;

/// Whether somebody is at work at a system.
#[derive(Serialize, ToSchema)]
struct MuteWire {
    /// None if nobody is.
    muted: Option<MutedWire>,
}

/// Somebody at work.
#[derive(Serialize, ToSchema)]
struct MutedWire {
    #[schema(value_type = String, format = DateTime)]
    since: EventTime,
    /// When people are told again.
    #[schema(value_type = String, format = DateTime)]
    until: EventTime,
    by: String,
    reason: String,
}

/// Work about to begin.
#[derive(Debug, Deserialize, ToSchema)]
struct WorkWire {
    /// How long nobody is told of anything there, 1 to 12 hours.
    hours: i64,
    /// What is done there.
    reason: String,
}

pub(super) fn routes() -> OpenApiRouter<Arc<Office>> {
    OpenApiRouter::new().routes(routes!(look, begin, end))
}

/// Whether somebody is at work at a system, so that nobody is told of anything there.
#[utoipa::path(get, path = "/systems/{id}/mute", tag = "alerts", params(("id" = String, Path)),
    responses((status = 200, body = MuteWire)))]
async fn look(
    visitor: Visitor,
    State(office): State<Arc<Office>>,
    Path(id): Path<String>,
) -> Result<Json<MuteWire>, Problem> {
    let system = seen(&office, &visitor, &id)?;
    let muted = mute::muted(&office, &system).await?;
    let wire = |Muted { since, until, by, reason, .. }| MutedWire { since, until, by, reason };
    Ok(Json(MuteWire { muted: muted.map(wire) }))
}

/// Lets nobody be told of anything at a system for a while. It ends by itself.
#[utoipa::path(put, path = "/systems/{id}/mute", tag = "alerts", params(("id" = String, Path)),
    request_body = WorkWire, responses((status = 204, description = "Nobody is told from now on.")))]
async fn begin(
    visitor: Visitor,
    State(office): State<Arc<Office>>,
    Path(id): Path<String>,
    Sent(work): Sent<WorkWire>,
) -> Result<StatusCode, Problem> {
    let system = seen(&office, &visitor, &id)?;
    mute::mute(&office, &visitor, &system, work.hours, &work.reason).await?;
    Ok(StatusCode::NO_CONTENT)
}

/// The work is done before its time: people are told again.
#[utoipa::path(delete, path = "/systems/{id}/mute", tag = "alerts", params(("id" = String, Path)),
    responses((status = 204, description = "People are told again.")))]
async fn end(
    visitor: Visitor,
    State(office): State<Arc<Office>>,
    Path(id): Path<String>,
) -> Result<StatusCode, Problem> {
    let system = seen(&office, &visitor, &id)?;
    mute::unmute(&office, &visitor, &system).await?;
    Ok(StatusCode::NO_CONTENT)
}
