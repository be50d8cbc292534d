//! Readings: the newest of each sensor, one sensor over time, and doses.

use std::collections::BTreeMap;
use std::sync::Arc;

use axum::Json;
use axum::extract::{Path, State};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use super::asked::Asked;
use super::paging::{Page, Paging};
use super::systems::seen;
use crate::desk::office::Office;
use crate::desk::people::Visitor;
use crate::desk::problem::Problem;
use crate::desk::visit::ask;
use crate::ledger::{Bin, DoseRecord, Latest, Resolution};
use crate::model::{EventTime, Id, Quantity, Span};

/// The newest reading of one sensor.
#[derive(Serialize, ToSchema)]
struct LatestWire {
    #[schema(value_type = String)]
    system: Id,
    /// Its name inside the system, such as `quince/moisture`.
    sensor: String,
    #[schema(value_type = String)]
    quantity: Quantity,
    #[schema(value_type = String, format = DateTime)]
    at: EventTime,
    /// Floats and overflow floats: 1 is wet. Diverter: 1 is sewer. Others in the quantity's unit.
    value: f64,
}

/// One reading, or all of an hour or day of UTC.
#[derive(Serialize, ToSchema)]
struct BinWire {
    #[schema(value_type = String, format = DateTime)]
    at: EventTime,
    min: f64,
    mean: f64,
    max: f64,
    count: u64,
}

/// One discharge of greywater through the system.
#[derive(Serialize, ToSchema)]
struct DoseWire {
    #[schema(value_type = String, format = DateTime)]
    at: EventTime,
    /// As a meter counted them; where none counts, an estimate by how many people use the system. Null where not known.
    litres: Option<f64>,
    /// Fraction that each basin with a usable sensor received.
    #[schema(value_type = BTreeMap<String, f64>)]
    shares: BTreeMap<Id, f64>,
    /// How far the shares can be trusted, 0 to 1.
    quality: f64,
}

/// Of which system.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct Which {
    /// Of this system only.
    system: Option<String>,
}

/// A stretch of time.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct Stretch {
    /// Where it begins (RFC 3339); a week before its end without.
    #[param(value_type = Option<String>, format = DateTime)]
    from: Option<EventTime>,
    /// Where it ends; now without.
    #[param(value_type = Option<String>, format = DateTime)]
    to: Option<EventTime>,
}

/// Which sensor, and how finely.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct Sensor {
    /// The sensor's name inside the system, such as `quince/moisture`.
    sensor: String,
    /// Every reading, or hours or days of UTC.
    #[param(inline)]
    #[serde(default)]
    by: Grain,
}

/// How finely to look.
#[derive(Clone, Copy, Debug, Default, Deserialize, ToSchema)]
#[serde(rename_all = "lowercase")]
enum Grain {
    /// Every reading.
    #[default]
    Reading,
    /// By hour of UTC.
    Hour,
    /// By day of UTC.
    Day,
}

impl Grain {
    fn resolution(self) -> Resolution {
        match self {
            Self::Reading => Resolution::Raw,
            Self::Hour => Resolution::Hour,
            Self::Day => Resolution::Day,
        }
    }

    /// What is read from the ledger at a time.
    fn stride(self) -> Span {
        match self {
            Self::Reading => Span::from_days(7),
            Self::Hour => Span::from_days(180),
            Self::Day => Span::from_days(3660),
        }
    }
}

impl Stretch {
    /// Longest stretch of one request.
    const LONGEST: Span = Span::from_days(20 * 366);

    fn of(&self, now: EventTime) -> Result<(EventTime, EventTime), Problem> {
        let to = self.to.unwrap_or(now);
        let from = self.from.unwrap_or(to - Span::from_days(7));
        if to < from || to - from > Self::LONGEST {
            return Err(Problem::wrong("`from` must lie before `to`, and at most 20 years"));
        }
        Ok((from, to))
    }
}

pub(super) fn routes() -> OpenApiRouter<Arc<Office>> {
    OpenApiRouter::new().routes(routes!(latest)).routes(routes!(readings)).routes(routes!(doses))
}

/// The newest reading of every sensor, by system and sensor.
#[utoipa::path(get, path = "/latest", tag = "readings", params(Which, Paging),
    responses((status = 200, body = Page<LatestWire>)))]
async fn latest(
    visitor: Visitor,
    State(office): State<Arc<Office>>,
    Asked(which): Asked<Which>,
    Asked(paging): Asked<Paging>,
) -> Result<Json<Page<LatestWire>>, Problem> {
    let one = which.system.as_ref().map(|id| seen(&office, &visitor, id)).transpose()?;
    let after = paging.after(|after| {
        let (system, sensor) = after.split_once('/')?;
        Some((system.to_owned(), sensor.to_owned()))
    })?;
    let mut latest = ask(&office, move |view| view.latest(one.as_ref().map(|system| &system.id))).await?;
    let systems = office.systems(&visitor);
    let is_seen = |id: &Id| systems.binary_search_by(|system| system.id.cmp(id)).is_ok();
    latest.retain(|reading| is_seen(&reading.system));
    latest.sort_by(|a, b| (&a.system, &a.sensor).cmp(&(&b.system, &b.sensor)));
    if let Some((system, sensor)) = after {
        latest.retain(|reading| (reading.system.as_str(), &*reading.sensor) > (&*system, &*sensor));
    }
    let items: Vec<_> = latest.into_iter().take(paging.limit() + 1).map(latest_wire).collect();
    let key = |reading: &LatestWire| format!("{}/{}", reading.system, reading.sensor);
    Ok(Json(Page::first(items, paging.limit(), key)))
}

fn latest_wire(latest: Latest) -> LatestWire {
    LatestWire {
        sensor: latest.sensor.to_string(),
        system: latest.system,
        quantity: latest.quantity,
        at: latest.at,
        value: latest.value,
    }
}

/// One sensor over time, in order.
#[utoipa::path(get, path = "/systems/{id}/readings", tag = "readings",
    params(("id" = String, Path), Sensor, Stretch, Paging), responses((status = 200, body = Page<BinWire>)))]
async fn readings(
    visitor: Visitor,
    State(office): State<Arc<Office>>,
    Path(id): Path<String>,
    Asked(sensor): Asked<Sensor>,
    Asked(stretch): Asked<Stretch>,
    Asked(paging): Asked<Paging>,
) -> Result<Json<Page<BinWire>>, Problem> {
    let system = seen(&office, &visitor, &id)?;
    let (from, to) = stretch.of(office.now())?;
    let after = paging.after(|after| after.parse().ok())?;
    let mut at = after.map_or(from, |after: i64| EventTime::from_millis(after.saturating_add(1)).max(from));
    let limit = paging.limit();
    let bins = ask(&office, move |view| {
        let mut bins: Vec<Bin> = Vec::new();
        while at < to && bins.len() <= limit {
            let until = (at + sensor.by.stride()).min(to);
            bins.extend(view.history(&system.id, &sensor.sensor, at, until, sensor.by.resolution())?);
            at = until;
        }
        Ok(bins)
    })
    .await?;
    let items: Vec<_> = bins.into_iter().take(limit + 1).map(bin_wire).collect();
    Ok(Json(Page::first(items, limit, |bin: &BinWire| bin.at.millis().to_string())))
}

fn bin_wire(bin: Bin) -> BinWire {
    let Bin { at, min, mean, max, count } = bin;
    BinWire { at, min, mean, max, count }
}

/// The doses of a system that began within a stretch of time, in order.
#[utoipa::path(get, path = "/systems/{id}/doses", tag = "readings",
    params(("id" = String, Path), Stretch, Paging), responses((status = 200, body = Page<DoseWire>)))]
async fn doses(
    visitor: Visitor,
    State(office): State<Arc<Office>>,
    Path(id): Path<String>,
    Asked(stretch): Asked<Stretch>,
    Asked(paging): Asked<Paging>,
) -> Result<Json<Page<DoseWire>>, Problem> {
    let system = seen(&office, &visitor, &id)?;
    let (from, to) = stretch.of(office.now())?;
    let after = paging.after(|after| after.parse().ok())?;
    let from = after.map_or(from, |after: i64| EventTime::from_millis(after.saturating_add(1)).max(from));
    let doses = ask(&office, move |view| view.doses(&system.id, from, to)).await?;
    let items: Vec<_> = doses.into_iter().take(paging.limit() + 1).map(dose_wire).collect();
    Ok(Json(Page::first(items, paging.limit(), |dose: &DoseWire| dose.at.millis().to_string())))
}

pub(super) fn dose_json(dose: DoseRecord) -> serde_json::Value {
    serde_json::to_value(dose_wire(dose)).expect("numbers and text are JSON")
}

fn dose_wire(dose: DoseRecord) -> DoseWire {
    let DoseRecord { at, litres, shares, quality } = dose;
    DoseWire { at, litres, shares, quality }
}
