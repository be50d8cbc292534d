//! How all systems are, as the first page shows it.

use std::sync::Arc;

use axum::Json;
use axum::extract::State;
use serde::Serialize;
use utoipa::ToSchema;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use super::asked::Asked;
use super::paging::{Page, Paging};
use crate::desk::office::Office;
use crate::desk::people::Visitor;
use crate::desk::problem::Problem;
use crate::desk::sheet::{Filter, SystemCard, Urgency};
use crate::model::{EventTime, FindingKind};

/// How a system is.
#[derive(Serialize, ToSchema)]
struct StateWire {
    system: String,
    name: String,
    property: String,
    /// What it needs of people: `now`, `coming`, `unheard` or `fine`.
    need: &'static str,
    /// The most urgent thing about it: `now`, `soon`, `next-visit`, `work`, `unheard` or `fine`.
    #[schema(value_type = String)]
    urgency: Urgency,
    /// Open findings, most urgent first.
    findings: Vec<OpenWire>,
    /// The task that is due first, if that is within two weeks.
    due: Option<String>,
    #[schema(value_type = Option<String>, format = DateTime)]
    last_heard: Option<EventTime>,
}

/// An open finding.
#[derive(Serialize, ToSchema)]
struct OpenWire {
    #[schema(value_type = String)]
    finding: FindingKind,
    headline: String,
    probability: f64,
}

pub(super) fn routes() -> OpenApiRouter<Arc<Office>> {
    OpenApiRouter::new().routes(routes!(portfolio))
}

/// All systems, most urgent first.
#[utoipa::path(get, path = "/portfolio", tag = "systems", params(Filter, Paging),
    responses((status = 200, body = Page<StateWire>)))]
async fn portfolio(
    visitor: Visitor,
    State(office): State<Arc<Office>>,
    Asked(filter): Asked<Filter>,
    Asked(paging): Asked<Paging>,
) -> Result<Json<Page<StateWire>>, Problem> {
    filter.check().map_err(Problem::wrong)?;
    let (skip, limit) = (paging.after(|after| after.parse::<usize>().ok())?.unwrap_or(0), paging.limit());
    let board = office.shelf.latest(visitor.reach()).await?;
    let items = board.chosen(&filter).skip(skip).take(limit + 1).map(wire).collect();
    Ok(Json(Page::first(items, limit, |_| (skip + limit).to_string())))
}

fn wire(card: &SystemCard) -> StateWire {
    let open = card.findings.iter().map(|open| OpenWire {
        finding: open.kind,
        headline: open.headline.clone(),
        probability: open.probability,
    });
    StateWire {
        system: card.id.to_string(),
        name: card.name.clone(),
        property: card.property.to_string(),
        need: card.need().name(),
        urgency: card.urgency,
        findings: open.collect(),
        due: card.due.as_ref().map(|due| format!("{}, {}", due.title, due.due)),
        last_heard: card.last_heard.as_ref().map(|at| at.at),
    }
}
