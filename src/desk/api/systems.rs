//! Systems.

use std::sync::Arc;

use axum::Json;
use axum::extract::{Path, State};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use super::asked::Asked;
use super::paging::{Page, Paging};
use crate::desk::office::Office;
use crate::desk::people::Visitor;
use crate::desk::problem::Problem;
use crate::model::{Node, SplitterIx, System};

/// A system in force.
#[derive(Serialize, ToSchema)]
struct SystemWire {
    id: String,
    name: String,
    property: String,
    /// IANA time zone.
    timezone: Option<String>,
    /// USDA texture class.
    soil: String,
    basins: Vec<BasinWire>,
    splitters: Vec<SplitterWire>,
    sensors: Vec<String>,
}

/// A basin of a system.
#[derive(Serialize, ToSchema)]
struct BasinWire {
    id: String,
    plant: Option<String>,
    /// Fraction of the water that it should receive.
    design_share: f64,
    area_m2: f64,
    depth_mm: f64,
}

/// A splitter of a system.
#[derive(Serialize, ToSchema)]
struct SplitterWire {
    id: String,
    /// Ids of what its sides a and b feed.
    feeds: [String; 2],
    /// Fractions that sides a and b should receive.
    split: [f64; 2],
}

/// Which systems.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct Which {
    /// Of this property only.
    property: Option<String>,
}

pub(super) fn routes() -> OpenApiRouter<Arc<Office>> {
    OpenApiRouter::new().routes(routes!(systems)).routes(routes!(system))
}

/// The systems in force, by id.
#[utoipa::path(get, path = "/systems", tag = "systems", params(Which, Paging),
    responses((status = 200, body = Page<SystemWire>)))]
async fn systems(
    visitor: Visitor,
    State(office): State<Arc<Office>>,
    Asked(which): Asked<Which>,
    Asked(paging): Asked<Paging>,
) -> Result<Json<Page<SystemWire>>, Problem> {
    let after = paging.after(|id| Some(id.to_owned()))?;
    let systems = office.systems(&visitor);
    let wanted = systems.iter().filter(|system| {
        which.property.as_ref().is_none_or(|property| system.property.as_str() == property)
            && after.as_ref().is_none_or(|after| system.id.as_str() > after.as_str())
    });
    let items = wanted.take(paging.limit() + 1).map(|system| wire(system)).collect();
    Ok(Json(Page::first(items, paging.limit(), |system: &SystemWire| system.id.clone())))
}

/// One system.
#[utoipa::path(get, path = "/systems/{id}", tag = "systems", params(("id" = String, Path)),
    responses((status = 200, body = SystemWire)))]
async fn system(
    visitor: Visitor,
    State(office): State<Arc<Office>>,
    Path(id): Path<String>,
) -> Result<Json<SystemWire>, Problem> {
    let system = seen(&office, &visitor, &id)?;
    Ok(Json(wire(&system)))
}

/// The system called `id`, or the same answer whether it does not exist or is beyond the visitor's reach.
pub(super) fn seen(office: &Office, visitor: &Visitor, id: &str) -> Result<Arc<System>, Problem> {
    office.system(visitor, id).ok_or_else(|| Problem::not_found("no system in your reach has this id"))
}

fn wire(system: &System) -> SystemWire {
    let node = |node: Node| match node {
        Node::Basin(ix) => system.basin(ix).id.to_string(),
        Node::Splitter(ix) => system.splitter(ix).id.to_string(),
    };
    let splitters = system.splitters.iter().enumerate().map(|(at, splitter)| SplitterWire {
        id: splitter.id.to_string(),
        feeds: system.tree().feeds(SplitterIx(at as u16)).map(node),
        split: splitter.split,
    });
    let basins = system.basin_ixs().map(|ix| {
        let basin = system.basin(ix);
        BasinWire {
            id: basin.id.to_string(),
            plant: basin.plant.clone(),
            design_share: system.tree().design_share(ix),
            area_m2: basin.area_m2,
            depth_mm: basin.depth_mm,
        }
    });
    SystemWire {
        id: system.id.to_string(),
        name: system.name.clone(),
        property: system.property.to_string(),
        timezone: system.zone.iana_name().map(str::to_owned),
        soil: system.soil.name().to_owned(),
        basins: basins.collect(),
        splitters: splitters.collect(),
        sensors: system.sensor_ixs().map(|ix| system.sensor_name(ix)).collect(),
    }
}
