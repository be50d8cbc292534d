//! The addresses of flow tests.

use std::collections::BTreeMap;
use std::sync::Arc;

use axum::Router;
use axum::extract::{Path, Query, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use axum::routing::get;
use serde::Deserialize;

use super::gather::{self, TestSheet};
use super::pages::{self, ListSheet, Pressed};
use super::work::{self, CaughtRun, Known, RUN_ENDED};
use crate::desk::answer::{Fault, html};
use crate::desk::office::Office;
use crate::desk::people::{Fields, Visitor};
use crate::desk::problem::Problem;
use crate::desk::record;
use crate::desk::units::Units;
use crate::desk::visit::ask;
use crate::flowtest::{Caught, Method};
use crate::ledger::TestDeed;
use crate::model::{EventTime, RecordKey, System};

/// Tests on the page of a system.
const LISTED: usize = 30;
/// The largest volume that makes sense, litres.
pub(in crate::desk) const LARGEST_L: f64 = 10_000.0;

type Shared = State<Arc<Office>>;

/// The addresses of these pages.
pub(in crate::desk) fn routes() -> Router<Arc<Office>> {
    Router::new()
        .route("/systems/{id}/tests", get(list).post(begin))
        .route("/tests/{key}", get(one).post(act))
        .route("/fragments/tests/{key}", get(fragment))
}

/// `GET /systems/{id}/tests`
async fn list(visitor: Visitor, State(office): Shared, Path(id): Path<String>, units: Units) -> Response {
    let Some(system) = office.system(&visitor, &id) else {
        return Fault::NoSystem(id).page(&office, &visitor);
    };
    match listed(&office, &visitor, &system, units, None).await {
        Ok(page) => html(page),
        Err(problem) => problem.into_response(),
    }
}

async fn listed(
    office: &Office,
    visitor: &Visitor,
    system: &Arc<System>,
    units: Units,
    problem: Option<String>,
) -> Result<String, Problem> {
    let (now, asked) = (office.now(), Arc::clone(system));
    let known: Vec<Known> = ask(office, move |view| {
        let tests = view.flow_tests(&asked.id, EventTime::MIN, EventTime::MAX, LISTED)?;
        tests.into_iter().map(|test| work::known(view, &asked, test, now)).collect()
    })
    .await?;
    let tests = known.iter().map(|known| gather::sheet(system, known, units, now)).collect();
    let key = record::new_key()?.to_string();
    Ok(pages::list(&office.chrome(visitor, 0), &ListSheet { system, tests, key, problem, units }))
}

/// `POST /systems/{id}/tests`
async fn begin(
    visitor: Visitor,
    State(office): Shared,
    Path(id): Path<String>,
    units: Units,
    fields: Fields,
) -> Response {
    let Some(system) = office.system(&visitor, &id) else {
        return Fault::NoSystem(id).page(&office, &visitor);
    };
    match begun(&office, &visitor, &system, &fields).await {
        Ok(key) => Redirect::to(&format!("/tests/{key}")).into_response(),
        Err(problem) => {
            let says = Some(problem.detail().to_owned());
            match listed(&office, &visitor, &system, units, says).await {
                Ok(page) => (problem.status(), html(page)).into_response(),
                Err(other) => other.into_response(),
            }
        }
    }
}

async fn begun(
    office: &Office,
    visitor: &Visitor,
    system: &System,
    fields: &Fields,
) -> Result<RecordKey, Problem> {
    let key = RecordKey::new(fields.get("key")).map_err(|fault| Problem::wrong(fault.to_string()))?;
    let method = if fields.get("method") == "buckets" { Method::Buckets } else { Method::Probes };
    let litres = volume(fields, "litres")?;
    let note: String = fields.get("note").chars().take(200).collect();
    work::place(office, visitor, system, key.clone(), TestDeed::Begin { method, litres, note }).await?;
    Ok(key)
}

/// A volume in the units of the form, litres; none where nothing was filled in.
fn volume(fields: &Fields, name: &str) -> Result<Option<f64>, Problem> {
    let text = fields.get(name).trim().replace(',', ".");
    if text.is_empty() {
        return Ok(None);
    }
    let units = Units::named(fields.get("units")).unwrap_or_default();
    let litres: Option<f64> = text.parse().ok().map(|volume| units.litres_of(volume));
    match litres.filter(|litres| (0.0..=LARGEST_L).contains(litres)) {
        Some(litres) => Ok(Some(litres)),
        None => Err(Problem::wrong(format!("`{}` is no volume", text.chars().take(20).collect::<String>()))),
    }
}

/// What the page was opened after.
#[derive(Debug, Deserialize)]
struct After {
    /// A step that the page would not show by itself.
    step: Option<String>,
}

/// `GET /tests/{key}`
async fn one(
    visitor: Visitor,
    State(office): Shared,
    Path(key): Path<String>,
    Query(after): Query<After>,
    units: Units,
) -> Response {
    let water_off = after.step.as_deref() == Some(RUN_ENDED);
    let pressed = if water_off { Pressed::WaterOff } else { Pressed::Nothing };
    match drawn(&office, &visitor, &key, units, &pressed).await {
        Ok(page) => html(page),
        Err(problem) if problem.status() == StatusCode::NOT_FOUND => Fault::NoPage.page(&office, &visitor),
        Err(problem) => problem.into_response(),
    }
}

async fn drawn(
    office: &Office,
    visitor: &Visitor,
    key: &str,
    units: Units,
    pressed: &Pressed,
) -> Result<String, Problem> {
    let stamp = office.shelf.recent(visitor.reach()).await?.stamp;
    let (sheet, system) = sheet(office, visitor, key, units).await?;
    Ok(pages::test(&office.chrome(visitor, stamp), &sheet, &system, units, pressed))
}

/// `GET /fragments/tests/{key}`
async fn fragment(
    visitor: Visitor,
    State(office): Shared,
    Path(key): Path<String>,
    units: Units,
) -> Response {
    match sheet(&office, &visitor, &key, units).await {
        Ok((sheet, system)) => {
            let chrome = office.chrome(&visitor, 0);
            html(pages::test_main(&chrome, &sheet, &system, units).into_string())
        }
        Err(problem) => problem.into_response(),
    }
}

async fn sheet(
    office: &Office,
    visitor: &Visitor,
    key: &str,
    units: Units,
) -> Result<(TestSheet, Arc<System>), Problem> {
    let (known, system) = work::reached(office, visitor, key).await?;
    Ok((gather::sheet(&system, &known, units, office.now()), system))
}

/// `POST /tests/{key}`
async fn act(
    visitor: Visitor,
    State(office): Shared,
    Path(key): Path<String>,
    units: Units,
    fields: Fields,
) -> Response {
    match work::step(&office, &visitor, (&key, fields.get("act")), |system| caught(system, &fields)).await {
        Ok(()) if fields.get("act") == RUN_ENDED => {
            Redirect::to(&format!("/tests/{key}?step={RUN_ENDED}")).into_response()
        }
        Ok(()) => Redirect::to(&format!("/tests/{key}")).into_response(),
        Err(problem) => {
            let refused = Pressed::Refused(problem.detail().to_owned());
            match drawn(&office, &visitor, &key, units, &refused).await {
                Ok(page) => (problem.status(), html(page)).into_response(),
                Err(other) => other.into_response(),
            }
        }
    }
}

fn caught(system: &System, fields: &Fields) -> Result<CaughtRun, Problem> {
    let run = RecordKey::new(fields.get("run")).map_err(|fault| Problem::wrong(fault.to_string()))?;
    let mark_litres = volume(fields, "mark")?.filter(|mark| *mark > 0.0);
    let mark_litres =
        mark_litres.ok_or_else(|| Problem::wrong("say how much lies between two marks of the buckets"))?;
    let mut caught = BTreeMap::new();
    for basin in &system.basins {
        if let Some(litres) = volume(fields, &format!("caught-{}", basin.id))? {
            caught.insert(basin.id.clone(), Caught { litres, mark_litres });
        }
    }
    Ok((run, caught))
}
