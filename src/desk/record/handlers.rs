//! The addresses of records.

use std::sync::Arc;

use axum::Router;
use axum::extract::{Path, Query, State};
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Redirect, Response};
use axum::routing::get;
use axum::{Json, body::Bytes};
use serde::Deserialize;
use serde_json::json;

use super::form::{self, Asked};
use super::pages::{self, ListSheet, Saved, StorySheet};
use super::{table, told, work};
use crate::desk::answer::{Fault, html};
use crate::desk::office::Office;
use crate::desk::people::{Fields, Visitor, only_if_may};
use crate::desk::problem::Problem;
use crate::desk::units::Units;
use crate::desk::{upkeep, words};
use crate::ledger::{ServiceFilter, ServiceStory, StoredService};
use crate::model::{Action, EventTime, RecordKey, Subject, System};
use crate::secrets::Token;
use crate::upkeep::{Day, TaskKind};

/// Records on one page, and lines of one table.
const LISTED: usize = 50;
const TABLE: usize = 20_000;

type Shared = State<Arc<Office>>;

/// The addresses of these pages.
pub(in crate::desk) fn routes() -> Router<Arc<Office>> {
    Router::new()
        .route("/systems/{id}/record", get(new).post(write))
        .route("/systems/{id}/services", get(of_system))
        .route("/systems/{id}/services.csv", get(table_of_system))
        .route("/properties/{id}/services", get(of_property))
        .route("/properties/{id}/services.csv", get(table_of_property))
        .route("/queue/pass", get(pass))
        .route("/services/{key}", get(one).post(change))
        .route("/services/{key}/photos/{no}", get(photo))
}

/// Which part a form is asked for.
#[derive(Debug, Deserialize)]
struct At {
    /// A subject's key, `basin:quince`.
    #[serde(default)]
    at: String,
    /// The kind of the task that it is for, if it is for one.
    #[serde(default)]
    task: String,
}

/// Where a list begins.
#[derive(Debug, Deserialize)]
struct After {
    /// `TIME.NUMBER` of the last one told, milliseconds.
    after: Option<String>,
}

/// `GET /queue/pass`: who is signed in, what changes must bring along, and the time, for a phone that sends what it kept.
async fn pass(visitor: Visitor, State(office): Shared) -> Response {
    let pass = json!({ "name": visitor.name(), "csrf": visitor.csrf(), "now": office.now().millis() });
    ([(header::CACHE_CONTROL, "no-store")], Json(pass)).into_response()
}

/// `GET /systems/{id}/record?at=basin:quince`
async fn new(
    visitor: Visitor,
    State(office): Shared,
    Path(id): Path<String>,
    Query(at): Query<At>,
    units: Units,
) -> Response {
    if !visitor.may(Action::Attend) {
        return Fault::Beyond.page(&office, &visitor);
    }
    let Some(system) = office.system(&visitor, &id) else {
        return Fault::NoSystem(id).page(&office, &visitor);
    };
    if at.at.is_empty() {
        return Redirect::temporary(&format!("/systems/{id}/services")).into_response();
    }
    let Some(subject) = form::subject(&at.at, &system) else { return Fault::NoPage.page(&office, &visitor) };
    match new_key() {
        Ok(key) => {
            let ticked = TaskKind::named(&at.task).map_or(&[][..], TaskKind::work);
            let asked = Asked { ticked, ..asked(&system, &subject, &office, units) };
            html(pages::new(&office.chrome(&visitor, 0), &asked, key.as_str(), None))
        }
        Err(problem) => problem.into_response(),
    }
}

fn asked<'a>(system: &'a System, subject: &'a Subject, office: &Office, units: Units) -> Asked<'a> {
    Asked { system, subject, now: office.now(), units, record: None, ticked: &[], mark: "new" }
}

/// A key for a form that is filled in without the script.
pub(in crate::desk) fn new_key() -> Result<RecordKey, Problem> {
    let token = Token::new().map_err(|fault| Problem::failed(fault.to_string()))?;
    let plain: String = token.reveal().chars().filter(char::is_ascii_alphanumeric).take(32).collect();
    RecordKey::new(&plain.to_ascii_lowercase()).map_err(|fault| Problem::failed(fault.to_string()))
}

/// `POST /systems/{id}/record`: the same record again changes nothing, so it may be sent until it is answered.
async fn write(
    visitor: Visitor,
    State(office): Shared,
    Path(id): Path<String>,
    headers: HeaderMap,
    fields: Fields,
) -> Response {
    let is_script = headers.get(header::ACCEPT).is_some_and(|kind| kind == "application/json");
    match written(&office, &visitor, &id, &fields).await {
        Ok(key) if is_script => {
            Json(json!({ "key": key, "page": format!("/services/{key}?saved=1") })).into_response()
        }
        Ok(key) => Redirect::to(&format!("/services/{key}?saved=1")).into_response(),
        Err(problem) if is_script => problem.into_response(),
        Err(problem) => again(&office, &visitor, &id, &fields, &problem),
    }
}

async fn written(
    office: &Office,
    visitor: &Visitor,
    id: &str,
    fields: &Fields,
) -> Result<RecordKey, Problem> {
    only_if_may(visitor, Action::Attend)?;
    let system = seen(office, visitor, id)?;
    let key = RecordKey::new(fields.get("key")).map_err(|fault| work::fault("key", &fault.to_string()))?;
    let record = form::read(fields, &system, office.now())?;
    work::write(office, visitor, &system, key.clone(), record).await?;
    Ok(key)
}

/// The form again, with what was filled in and what is wrong with it.
fn again(office: &Office, visitor: &Visitor, id: &str, fields: &Fields, problem: &Problem) -> Response {
    let says = problem.detail().to_owned();
    let chrome = office.chrome(visitor, 0);
    let drawn = office.system(visitor, id).and_then(|system| {
        let subject = form::subject(fields.get("subject"), &system)?;
        let record = form::read(fields, &system, office.now()).ok();
        let units = Units::named(fields.get("units")).unwrap_or_default();
        let asked = Asked { record: record.as_ref(), ..asked(&system, &subject, office, units) };
        Some(pages::new(&chrome, &asked, fields.get("key"), Some(&says)))
    });
    let page =
        drawn.unwrap_or_else(|| crate::desk::pages::fault(&chrome, "This was not written down", &says, None));
    (problem.status(), html(page)).into_response()
}

fn seen(office: &Office, visitor: &Visitor, id: &str) -> Result<Arc<System>, Problem> {
    office.system(visitor, id).ok_or_else(|| Problem::not_found("no system in your reach has this id"))
}

/// `GET /systems/{id}/services`
async fn of_system(
    visitor: Visitor,
    State(office): Shared,
    Path(id): Path<String>,
    Query(after): Query<After>,
    units: Units,
) -> Response {
    let Some(system) = office.system(&visitor, &id) else {
        return Fault::NoSystem(id).page(&office, &visitor);
    };
    let of = (system.name.clone(), format!("/systems/{id}"));
    list(&office, &visitor, (&[system], of), format!("/systems/{id}/services"), &after, units).await
}

/// `GET /properties/{id}/services`
async fn of_property(
    visitor: Visitor,
    State(office): Shared,
    Path(id): Path<String>,
    Query(after): Query<After>,
    units: Units,
) -> Response {
    let systems = of(&office, &visitor, &id);
    if systems.is_empty() {
        return Fault::NoPage.page(&office, &visitor);
    }
    let of = (words::title(&id), "/".to_owned());
    list(&office, &visitor, (&systems, of), format!("/properties/{id}/services"), &after, units).await
}

/// The systems of a property in reach.
fn of(office: &Office, visitor: &Visitor, property: &str) -> Vec<Arc<System>> {
    office.systems(visitor).iter().filter(|system| system.property.as_str() == property).cloned().collect()
}

async fn list(
    office: &Office,
    visitor: &Visitor,
    (systems, of): (&[Arc<System>], (String, String)),
    here: String,
    after: &After,
    units: Units,
) -> Response {
    let after = after.after.as_deref().and_then(|text| {
        let (at, no) = text.split_once('.')?;
        Some((EventTime::from_millis(at.parse().ok()?), no.parse().ok()?))
    });
    let filter = ServiceFilter { after, ..ServiceFilter::default() };
    let records = match work::listed(office, systems, filter, LISTED).await {
        Ok(records) => records,
        Err(problem) => return problem.into_response(),
    };
    let older = records.last().filter(|_| records.len() == LISTED);
    let older = older.map(|last| format!("{here}?after={}.{}", last.record.at.millis(), last.no));
    let find = |id: &str| systems.iter().find(|system| system.id.as_str() == id);
    let now = office.now();
    let told = |stored: &StoredService| Some(told::told(find(stored.system.as_str())?, stored, units, now));
    let new = if let [system] = systems { parts(system) } else { Vec::new() };
    let sheet = ListSheet { of, here, records: records.iter().filter_map(told).collect(), older, new };
    html(pages::list(&office.chrome(visitor, 0), &sheet))
}

/// Every part that a record may be about, with the address of its form.
fn parts(system: &System) -> Vec<(String, String)> {
    let basins = system.basins.iter().map(|basin| Subject::Basin(basin.id.clone()));
    let splitters = system.splitters.iter().map(|splitter| Subject::Splitter(splitter.id.clone()));
    let diverter = system.diverter.then_some(Subject::Diverter);
    let subjects = basins.chain(splitters).chain(diverter).chain([Subject::Source]);
    subjects
        .map(|subject| {
            let address = format!("/systems/{}/record?at={}", system.id, subject.key());
            (address, form::title(system, &subject))
        })
        .collect()
}

/// `GET /systems/{id}/services.csv`
async fn table_of_system(visitor: Visitor, State(office): Shared, Path(id): Path<String>) -> Response {
    match seen(&office, &visitor, &id) {
        Ok(system) => as_csv(&office, &[system], &id).await,
        Err(problem) => problem.into_response(),
    }
}

/// `GET /properties/{id}/services.csv`
async fn table_of_property(visitor: Visitor, State(office): Shared, Path(id): Path<String>) -> Response {
    let systems = of(&office, &visitor, &id);
    if systems.is_empty() {
        return Fault::NoPage.page(&office, &visitor);
    }
    as_csv(&office, &systems, &id).await
}

async fn as_csv(office: &Office, systems: &[Arc<System>], name: &str) -> Response {
    let filter = ServiceFilter { withdrawn: true, ..ServiceFilter::default() };
    match work::listed(office, systems, filter, TABLE).await {
        Ok(records) => {
            let text = table::csv(&records, |stored| {
                systems.iter().find(|system| system.id == stored.system).map(|system| &**system)
            });
            let about = [
                (header::CONTENT_TYPE, "text/csv; charset=utf-8".to_owned()),
                (header::CONTENT_DISPOSITION, format!("attachment; filename=\"{name}-services.csv\"")),
            ];
            (about, text).into_response()
        }
        Err(problem) => problem.into_response(),
    }
}

/// Whether a record was written down just now.
#[derive(Debug, Deserialize)]
struct Just {
    /// Anything, where it was.
    saved: Option<String>,
}

/// `GET /services/{key}`
async fn one(
    visitor: Visitor,
    State(office): Shared,
    Path(key): Path<String>,
    Query(just): Query<Just>,
    units: Units,
) -> Response {
    match shown(&office, &visitor, &key, units, (just.saved.is_some(), None)).await {
        Ok(page) => html(page),
        Err(problem) if problem.status() == StatusCode::NOT_FOUND => Fault::NoPage.page(&office, &visitor),
        Err(problem) => problem.into_response(),
    }
}

async fn shown(
    office: &Office,
    visitor: &Visitor,
    key: &str,
    units: Units,
    (is_new, problem): (bool, Option<String>),
) -> Result<String, Problem> {
    let key = RecordKey::new(key).map_err(|_| Problem::not_found("no record in your reach has this key"))?;
    let (story, system) = work::story(office, visitor, &key).await?;
    let now = office.now();
    let ServiceStory { versions, photos, ended } = &story;
    let last = versions.last().expect("a story has a version");
    let before = versions.len().checked_sub(2).map(|at| &versions[at]);
    let beyond_recall = match before {
        Some(before) if !last.withdrawn => before.record.beyond_recall(&last.record),
        Some(_) => vec!["what the engine was told of this work it does not forget".to_owned()],
        None => Vec::new(),
    };
    let sheet = StorySheet {
        versions: versions.iter().map(|stored| told::told(&system, stored, units, now)).collect(),
        photos: photos.iter().map(|photo| photo.no).collect(),
        ended: ended.iter().map(|alert| alert.0).collect(),
        beyond_recall,
        problem,
        saved: is_new.then(|| saved(office, &system, last)),
    };
    let asked = asked(&system, &last.record.subject, office, units);
    let asked = Asked { record: Some(&last.record), mark: "correct", ..asked };
    Ok(pages::story(&office.chrome(visitor, 0), &sheet, &asked))
}

/// What became due by the record that was just written down.
fn saved(office: &Office, system: &System, last: &StoredService) -> Saved {
    let upkeep = Arc::clone(&office.desk.upkeep.borrow());
    let is_ahead = upkeep.made.is_none_or(|made| made < last.written_at);
    let subject = &last.record.subject;
    let rows = if is_ahead { Vec::new() } else { upkeep::proofs(&upkeep, system, subject, office.now()) };
    let today = Day::of(office.now(), &system.zone);
    let proofs = rows.iter().map(|row| {
        let due = upkeep::due_words(row.window, row.task.key.kind, today, row.visit.map(|(_, day)| day));
        (format!("{}, {due}", row.title), upkeep::record_address(row))
    });
    Saved { is_ahead, proofs: proofs.collect() }
}

/// `POST /services/{key}`
async fn change(
    visitor: Visitor,
    State(office): Shared,
    Path(key): Path<String>,
    units: Units,
    fields: Fields,
) -> Response {
    match changed(&office, &visitor, &key, &fields).await {
        Ok(()) => Redirect::to(&format!("/services/{key}?saved=1")).into_response(),
        Err(problem) => {
            let says = Some(problem.detail().to_owned());
            match shown(&office, &visitor, &key, units, (false, says)).await {
                Ok(page) => (problem.status(), html(page)).into_response(),
                Err(other) => other.into_response(),
            }
        }
    }
}

async fn changed(office: &Office, visitor: &Visitor, key: &str, fields: &Fields) -> Result<(), Problem> {
    let key = RecordKey::new(key).map_err(|fault| Problem::not_found(fault.to_string()))?;
    let (story, system) = work::story(office, visitor, &key).await?;
    let replaces =
        fields.get("replaces").parse().map_err(|_| Problem::wrong("say which version is replaced"))?;
    let change = match fields.get("act") {
        "correct" => {
            let mut record = form::read(fields, &system, office.now())?;
            // The form shows minutes; a time that was left alone is not a correction.
            let before = story.versions.last().map(|last| last.record.at);
            if let Some(at) = before.filter(|at| form::local(*at, &system) == fields.get("at")) {
                record.at = at;
            }
            work::Change::Correct(record)
        }
        "withdraw" => work::Change::Withdraw,
        _ => return Err(Problem::wrong("there is no such step")),
    };
    work::change(office, visitor, key, (replaces, fields.get("reason").to_owned()), change).await
}

/// `GET /services/{key}/photos/{no}`
async fn photo(
    visitor: Visitor,
    State(office): Shared,
    Path((key, no)): Path<(String, u32)>,
) -> Result<Response, Problem> {
    let key = RecordKey::new(&key).map_err(|fault| Problem::not_found(fault.to_string()))?;
    let (kind, bytes) = work::photograph(&office, &visitor, key, no).await?;
    let about = [
        (header::CONTENT_TYPE, kind.media_type()),
        (header::CACHE_CONTROL, "private, max-age=31536000, immutable"),
    ];
    Ok((about, Bytes::from(bytes)).into_response())
}
