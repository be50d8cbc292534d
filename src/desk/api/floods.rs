//! The history of floods.

use std::sync::Arc;

use axum::Json;
use axum::extract::State;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use super::asked::Asked;
use super::paging::{Page, Paging};
use crate::desk::flood::{Flood, Wanted};
use crate::desk::office::Office;
use crate::desk::people::Visitor;
use crate::desk::problem::Problem;
use crate::model::EventTime;

pub(super) fn routes() -> OpenApiRouter<Arc<Office>> {
    OpenApiRouter::new().routes(routes!(floods))
}

/// Where a flood lies in the list: when it was found, newest first, and then its place.
fn key(flood: &Flood) -> (std::cmp::Reverse<EventTime>, String) {
    (std::cmp::Reverse(flood.found_at), format!("{}/{}", flood.system, flood.subject))
}

/// The floods of a year, newest first: when water stood, who took it on, who closed it, and what was done.
#[utoipa::path(get, path = "/floods", tag = "alerts", params(Wanted, Paging),
    responses((status = 200, body = Page<Flood>)))]
async fn floods(
    visitor: Visitor,
    State(office): State<Arc<Office>>,
    Asked(wanted): Asked<Wanted>,
    Asked(paging): Asked<Paging>,
) -> Result<Json<Page<Flood>>, Problem> {
    let after = paging.after(|after| {
        let (millis, place) = after.split_once('.')?;
        Some((std::cmp::Reverse(EventTime::from_millis(millis.parse().ok()?)), place.to_owned()))
    })?;
    let found = wanted.floods(&office, &visitor).await?;
    let (_, mut floods) = found.ok_or_else(|| Problem::wrong("`year` must be a year, such as 2026"))?;
    floods.sort_by_cached_key(key);
    let further = floods.into_iter().filter(|flood| after.as_ref().is_none_or(|after| key(flood) > *after));
    let items = further.take(paging.limit() + 1).collect();
    Ok(Json(Page::first(items, paging.limit(), |last: &Flood| {
        format!("{}.{}/{}", last.found_at.millis(), last.system, last.subject)
    })))
}
