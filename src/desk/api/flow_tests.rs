//! Flow tests.

use std::collections::BTreeMap;
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
use crate::desk::flowtest::{self, CaughtRun, LARGEST_L};
use crate::desk::office::Office;
use crate::desk::people::Visitor;
use crate::desk::problem::Problem;
use crate::desk::visit::ask;
use crate::flowtest::{Caught, Method, Outcome};
use crate::ledger::{StoredTest, TestDeed};
use crate::model::{EventTime, Id, RecordKey, System};

/// Tests told at most.
const MOST: usize = 1000;
/// Length of a note, characters.
const NOTE_CHARS: usize = 200;

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
    /// When and by whom the water of each run by probes was said to be off.
    run_ends: Vec<RunEndWire>,
    /// When it was ended; none while it runs.
    #[schema(value_type = Option<String>, format = DateTime)]
    ended: Option<EventTime>,
    /// By splitter: the share of side a with its interval of 95 %, the probability that it is within 6 points of the
    /// design, the verdict, and what to do next. None while it runs, and none if it was given up.
    #[schema(value_type = Option<Object>)]
    outcome: Option<Outcome>,
}

/// Somebody said that the water is off.
#[derive(Serialize, ToSchema)]
struct RunEndWire {
    #[schema(value_type = String, format = DateTime)]
    at: EventTime,
    by: String,
}

/// A flow test to begin.
#[derive(Debug, Deserialize, ToSchema)]
struct BeginWire {
    /// A UUID made where it begins: what is sent again with the same key begins nothing.
    key: String,
    /// `probes` or `buckets`.
    #[schema(value_type = String)]
    method: Method,
    /// How much is run, where that is known.
    litres: Option<f64>,
    /// What for, up to 200 characters.
    #[serde(default)]
    note: String,
}

/// A step of a flow test.
#[derive(Debug, Deserialize, ToSchema)]
struct StepWire {
    /// `catch`, `run-ended` (a test by probes: no more water comes), `finish` or `give-up`.
    act: String,
    /// For `catch`: a UUID of this run of water.
    run: Option<String>,
    /// For `catch`: by basin, the litres read off its bucket.
    #[serde(default)]
    #[schema(value_type = BTreeMap<String, f64>)]
    caught: BTreeMap<Id, f64>,
    /// For `catch`: litres between two marks of the buckets.
    mark_litres: Option<f64>,
}

pub(super) fn routes() -> OpenApiRouter<Arc<Office>> {
    OpenApiRouter::new().routes(routes!(flow_tests, begin)).routes(routes!(flow_test)).routes(routes!(step))
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

/// Begins a flow test; a system has one at a time.
#[utoipa::path(post, path = "/systems/{id}/tests", tag = "services", params(("id" = String, Path)),
    request_body = BeginWire, responses((status = 204, description = "It runs.")))]
async fn begin(
    visitor: Visitor,
    State(office): State<Arc<Office>>,
    Path(id): Path<String>,
    Sent(sent): Sent<BeginWire>,
) -> Result<StatusCode, Problem> {
    let system = seen(&office, &visitor, &id)?;
    let key = record_key(&sent.key)?;
    let litres = sent.litres.map(|litres| volume("litres", litres)).transpose()?;
    let note = sent.note.chars().take(NOTE_CHARS).collect();
    flowtest::place(&office, &visitor, &system, key, TestDeed::Begin { method: sent.method, litres, note })
        .await?;
    Ok(StatusCode::NO_CONTENT)
}

/// One flow test; its outcome is what it comes to so far, while it runs.
#[utoipa::path(get, path = "/tests/{key}", tag = "services", params(("key" = String, Path)),
    responses((status = 200, body = TestWire)))]
async fn flow_test(
    visitor: Visitor,
    State(office): State<Arc<Office>>,
    Path(key): Path<String>,
) -> Result<Json<TestWire>, Problem> {
    let (known, _) = flowtest::reached(&office, &visitor, &key).await?;
    let given_up = known.test.ended.is_some() && known.test.outcome.is_none();
    let outcome = (!given_up).then_some(known.outcome);
    Ok(Json(wire(StoredTest { outcome, ..known.test })))
}

/// One step with a flow test.
#[utoipa::path(post, path = "/tests/{key}/steps", tag = "services", params(("key" = String, Path)),
    request_body = StepWire, responses((status = 204, description = "It is done.")))]
async fn step(
    visitor: Visitor,
    State(office): State<Arc<Office>>,
    Path(key): Path<String>,
    Sent(sent): Sent<StepWire>,
) -> Result<StatusCode, Problem> {
    flowtest::step(&office, &visitor, (&key, &sent.act), |system| caught(system, &sent)).await?;
    Ok(StatusCode::NO_CONTENT)
}

fn caught(system: &System, sent: &StepWire) -> Result<CaughtRun, Problem> {
    let run = record_key(sent.run.as_deref().unwrap_or_default())?;
    let mark_litres = volume("mark_litres", sent.mark_litres.unwrap_or_default())?;
    if mark_litres <= 0.0 {
        return Err(Problem::wrong("`mark_litres` must say how much lies between two marks of the buckets"));
    }
    let mut caught = BTreeMap::new();
    for (basin, litres) in &sent.caught {
        if system.find_basin(basin.as_str()).is_none() {
            return Err(Problem::wrong(format!("`caught` names {basin}, which is no basin of this system")));
        }
        caught.insert(basin.clone(), Caught { litres: volume("caught", *litres)?, mark_litres });
    }
    Ok((run, caught))
}

fn record_key(text: &str) -> Result<RecordKey, Problem> {
    RecordKey::new(text).map_err(|fault| Problem::wrong(fault.to_string()))
}

fn volume(field: &str, litres: f64) -> Result<f64, Problem> {
    if (0.0..=LARGEST_L).contains(&litres) {
        return Ok(litres);
    }
    Err(Problem::wrong(format!("`{field}` must lie between 0 and {LARGEST_L} litres")))
}

fn wire(test: StoredTest) -> TestWire {
    TestWire {
        key: test.key,
        method: test.method,
        began: test.began,
        by: test.by,
        litres: test.litres,
        note: test.note,
        run_ends: test.run_ends.into_iter().map(|(at, by)| RunEndWire { at, by }).collect(),
        ended: test.ended.map(|(at, _)| at),
        outcome: test.outcome,
    }
}
