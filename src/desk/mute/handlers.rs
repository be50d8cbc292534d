//! The address of maintenance mode.

use std::sync::Arc;

use axum::Router;
use axum::extract::{Path, State};
use axum::response::{IntoResponse, Redirect, Response};
use axum::routing::get;

use super::page::{self, MuteSheet};
use super::work;
use crate::desk::answer::{Fault, html};
use crate::desk::office::Office;
use crate::desk::people::{Fields, Visitor};
use crate::desk::problem::Problem;
use crate::ledger::LedgerFault;
use crate::model::System;

type Shared = State<Arc<Office>>;

/// The address of this page.
pub(in crate::desk) fn routes() -> Router<Arc<Office>> {
    Router::new().route("/systems/{id}/mute", get(look).post(act))
}

/// `GET /systems/{id}/mute`
async fn look(visitor: Visitor, State(office): Shared, Path(id): Path<String>) -> Response {
    let Some(system) = office.system(&visitor, &id) else {
        return Fault::NoSystem(id).page(&office, &visitor);
    };
    match drawn(&office, &visitor, &system, None).await {
        Ok(page) => html(page),
        Err(fault) => Problem::from(fault).into_response(),
    }
}

/// `POST /systems/{id}/mute`
async fn act(visitor: Visitor, State(office): Shared, Path(id): Path<String>, fields: Fields) -> Response {
    let Some(system) = office.system(&visitor, &id) else {
        return Fault::NoSystem(id).page(&office, &visitor);
    };
    let done = if fields.get("act") == "unmute" {
        work::unmute(&office, &visitor, &system).await
    } else {
        let hours = fields.get("hours").parse().unwrap_or_default();
        work::mute(&office, &visitor, &system, hours, fields.get("reason")).await
    };
    let Err(problem) = done else { return Redirect::to(&format!("/systems/{id}/mute")).into_response() };
    match drawn(&office, &visitor, &system, Some(problem.detail())).await {
        Ok(page) => (problem.status(), html(page)).into_response(),
        Err(fault) => Problem::from(fault).into_response(),
    }
}

async fn drawn(
    office: &Office,
    visitor: &Visitor,
    system: &System,
    problem: Option<&str>,
) -> Result<String, LedgerFault> {
    let muted = work::muted_words(office, system).await?;
    Ok(page::page(&office.chrome(visitor, 0), &MuteSheet { system, muted, problem }))
}
