//! What each basin received, month by month.

use std::sync::Arc;

use axum::Json;
use axum::extract::{Path, State};
use serde::Serialize;
use utoipa::ToSchema;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use super::systems::seen;
use crate::desk::office::Office;
use crate::desk::people::Visitor;
use crate::desk::problem::Problem;
use crate::desk::visit::received::months;
use crate::model::EventTime;

/// A month of the calendar in the system's zone.
#[derive(Serialize, ToSchema)]
struct MonthWire {
    #[schema(value_type = String, format = DateTime)]
    from: EventTime,
    /// Its end, or now.
    #[schema(value_type = String, format = DateTime)]
    to: EventTime,
    doses: usize,
    /// Doses whose litres are not known; they are in no sum of litres.
    unmeasured: usize,
    /// No meter counts: litres are reckoned by how many people use the system.
    estimated: bool,
    basins: Vec<ReceivedWire>,
}

/// What one basin received.
#[derive(Serialize, ToSchema)]
struct ReceivedWire {
    basin: String,
    /// Null where no dose was measured.
    litres: Option<f64>,
    /// Fraction of the water of the same doses, null where the probes do not tell.
    share: Option<f64>,
    /// How many doses `litres` and `share` rest on.
    doses: usize,
    /// The longest time over which this basin's sensors told of no dose: the first dose of it, null without one.
    #[schema(value_type = Option<String>, format = DateTime)]
    silent_from: Option<EventTime>,
    /// The last dose of that time.
    #[schema(value_type = Option<String>, format = DateTime)]
    silent_to: Option<EventTime>,
    /// What the figures rest on where that is not every dose, or why there are none, in words.
    says: Option<String>,
    design_share: f64,
}

pub(super) fn routes() -> OpenApiRouter<Arc<Office>> {
    OpenApiRouter::new().routes(routes!(received))
}

/// What each basin received in this month and the twelve before it, oldest first.
#[utoipa::path(get, path = "/systems/{id}/received", tag = "readings", params(("id" = String, Path)),
    responses((status = 200, body = Vec<MonthWire>)))]
async fn received(
    visitor: Visitor,
    State(office): State<Arc<Office>>,
    Path(id): Path<String>,
) -> Result<Json<Vec<MonthWire>>, Problem> {
    let system = seen(&office, &visitor, &id)?;
    let months = months(&office, &system).await?.into_iter().map(|month| MonthWire {
        from: month.from,
        to: month.to,
        doses: month.doses,
        unmeasured: month.unmeasured,
        estimated: month.estimated,
        basins: system
            .basin_ixs()
            .zip(month.basins)
            .map(|(ix, of)| ReceivedWire {
                basin: system.basin(ix).id.to_string(),
                litres: of.litres,
                share: of.share,
                doses: of.doses,
                silent_from: of.silent.map(|(from, _)| from),
                silent_to: of.silent.map(|(_, to)| to),
                says: of.says,
                design_share: system.tree().design_share(ix),
            })
            .collect(),
    });
    Ok(Json(months.collect()))
}
