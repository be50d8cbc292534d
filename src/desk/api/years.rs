//! Yearly records.

use std::sync::Arc;

use axum::Json;
use axum::extract::{Path, State};
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use super::systems::seen;
use crate::desk::office::Office;
use crate::desk::people::Visitor;
use crate::desk::problem::Problem;
use crate::desk::year::{self, Account};

pub(super) fn routes() -> OpenApiRouter<Arc<Office>> {
    OpenApiRouter::new().routes(routes!(account))
}

/// One calendar year of a system, in its own time zone: water, findings, alerts that were closed, services,
/// tests, gaps, and what deviates.
#[utoipa::path(get, path = "/systems/{id}/years/{year}", tag = "services",
    params(("id" = String, Path), ("year" = i16, Path)), responses((status = 200, body = Account)))]
async fn account(
    visitor: Visitor,
    State(office): State<Arc<Office>>,
    Path((id, year)): Path<(String, String)>,
) -> Result<Json<Account>, Problem> {
    let system = seen(&office, &visitor, &id)?;
    let none = || Problem::not_found("there is no such year, or it lies ahead");
    let year = year.parse().map_err(|_| none())?;
    year::year_of(&office, &system, year).await?.map(Json).ok_or_else(none)
}
