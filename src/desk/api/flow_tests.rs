//! Flow tests.

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
use crate::flowtest::{Method, Outcome};
use crate::ledger::StoredTest;
use crate::model::{EventTime, RecordKey};

/// Tests told at most.
const MOST: usize = 1000;

/// Water run on purpose.
#[derive(Serialize, ToSchema)]
struct TestWire {
    #[schema(value_type = String)]
    key: RecordKey,
    /// `probes` or `buckets`.
    #[schema(value_type = String)]
    method: Method,
    #[schema(value_type = String, format = DateTime)]
    began: EventTime,
    by: String,
    /// How much was run, where that is known.
    litres: Option<f64>,
    note: String,
    /// When it was ended; none while it runs.
    #[schema(value_type = Option<String>, format = DateTime)]
    ended: Option<EventTime>,
    /// By splitter: the share of side a with its interval of 95 %, the probability that it is within 6 points of the
    /// design, the verdict, and what to do next. None while it runs, and none if it was given up.
    #[schema(value_type = Option<Object>)]
    outcome: Option<Outcome>,
}

pub(super) fn routes() -> OpenApiRouter<Arc<Office>> {
    OpenApiRouter::new().routes(routes!(flow_tests))
}

/// Flow tests of a system, newest first.
#[utoipa::path(get, path = "/systems/{id}/tests", tag = "services", params(("id" = String, Path)),
    responses((status = 200, body = Vec<TestWire>)))]
async fn flow_tests(
    visitor: Visitor,
    State(office): State<Arc<Office>>,
    Path(id): Path<String>,
) -> Result<Json<Vec<TestWire>>, Problem> {
    let system = seen(&office, &visitor, &id)?;
    let tests =
        ask(&office, move |view| view.flow_tests(&system.id, EventTime::MIN, EventTime::MAX, MOST)).await?;
    Ok(Json(tests.into_iter().map(wire).collect()))
}

fn wire(test: StoredTest) -> TestWire {
    TestWire {
        key: test.key,
        method: test.method,
        began: test.began,
        by: test.by,
        litres: test.litres,
        note: test.note,
        ended: test.ended.map(|(at, _)| at),
        outcome: test.outcome,
    }
}
