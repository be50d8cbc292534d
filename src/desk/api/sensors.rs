//! Sensors: what they are, where they are heard, and how their readings arrive.

use std::collections::BTreeMap;
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
use crate::desk::visit::ask;
use crate::ledger::Arrivals;
use crate::model::{EventTime, FindingKind, Quantity, Subject};

/// A sensor of a system.
#[derive(Serialize, ToSchema)]
struct SensorWire {
    /// Its name inside the system, such as `quince/moisture`.
    sensor: String,
    #[schema(value_type = String)]
    quantity: Quantity,
    /// Where it is heard.
    topic: String,
    /// The system file names it, rather than it being heard at its usual topic.
    declared: bool,
    /// How its readings arrived; null while none did.
    arrivals: Option<ArrivalsWire>,
    /// Open findings about it, such as `sensor-silent`.
    #[schema(value_type = Vec<String>)]
    findings: Vec<FindingKind>,
}

/// How the readings of a sensor arrived.
#[derive(Serialize, ToSchema)]
struct ArrivalsWire {
    #[schema(value_type = String, format = DateTime)]
    counted_since: EventTime,
    #[schema(value_type = String, format = DateTime)]
    last: EventTime,
    readings: u64,
    /// Readings that were known already by their time.
    repeated: u64,
    /// Readings that came more than 10 minutes after they were measured.
    late: u64,
    /// The longest that a reading was under way, seconds.
    longest_s: f64,
    /// Beginnings of the last payloads, newest first.
    payloads: Vec<PayloadWire>,
}

/// A payload that arrived.
#[derive(Serialize, ToSchema)]
struct PayloadWire {
    #[schema(value_type = String, format = DateTime)]
    at: EventTime,
    /// Its beginning; what is no text, in hexadecimal.
    payload: String,
}

pub(super) fn routes() -> OpenApiRouter<Arc<Office>> {
    OpenApiRouter::new().routes(routes!(sensors))
}

/// Every sensor of a system, with how its readings arrive.
#[utoipa::path(get, path = "/systems/{id}/sensors", tag = "readings", params(("id" = String, Path)),
    responses((status = 200, body = Vec<SensorWire>)))]
async fn sensors(
    visitor: Visitor,
    State(office): State<Arc<Office>>,
    Path(id): Path<String>,
) -> Result<Json<Vec<SensorWire>>, Problem> {
    let system = seen(&office, &visitor, &id)?;
    let of = Arc::clone(&system);
    let (arrivals, open) =
        ask(&office, move |view| Ok((view.arrivals(&of.id)?, view.findings_open_in(&of.id)?))).await?;
    let mut arrivals: BTreeMap<_, _> = arrivals.into_iter().map(|it| (Arc::clone(&it.sensor), it)).collect();
    let wire = |ix| {
        let sensor = system.sensor_name(ix);
        let about =
            open.iter().filter(|it| matches!(&it.finding.subject, Subject::Sensor(of) if *of == sensor));
        SensorWire {
            quantity: system.sensor(ix).quantity,
            topic: system.topic(ix, &office.desk.files.prefix),
            declared: system.sensor(ix).declared,
            arrivals: arrivals.remove(&*sensor).map(arrivals_wire),
            findings: about.map(|it| it.finding.kind).collect(),
            sensor,
        }
    };
    Ok(Json(system.sensor_ixs().map(wire).collect()))
}

fn arrivals_wire(arrivals: Arrivals) -> ArrivalsWire {
    let payload = |(at, payload)| PayloadWire { at, payload };
    ArrivalsWire {
        counted_since: arrivals.since,
        last: arrivals.last,
        readings: arrivals.readings,
        repeated: arrivals.repeated,
        late: arrivals.late,
        longest_s: arrivals.longest.secs_f64(),
        payloads: arrivals.payloads.into_iter().map(payload).collect(),
    }
}
