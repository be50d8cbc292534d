//! System files: the plumbing as people write it down.

use std::sync::Arc;

use axum::Json;
use axum::extract::{Path, State};
use axum::http::{HeaderMap, StatusCode, header};
use serde::Serialize;
use serde_json::{Map, Value};
use utoipa::ToSchema;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use super::asked::{Asked, Sent};
use super::paging::{Page, Paging};
use crate::desk::faulty::told;
use crate::desk::office::Office;
use crate::desk::people::{Visitor, only_if_may};
use crate::desk::problem::Problem;
use crate::desk::setup;
use crate::model::{Action, Id};
use crate::systemfile;

/// A system file.
#[derive(Serialize, ToSchema)]
struct FileWire {
    /// The file's own keys, as the guide to system files lists them.
    #[schema(value_type = Object)]
    content: Map<String, Value>,
    /// What to send as `If-Match` with a change.
    version: String,
    /// There is a version before this one.
    can_undo: bool,
}

/// A change that would do, or did.
#[derive(Serialize, ToSchema)]
struct Good {
    id: String,
    /// What is allowed but worth a second thought, in sentences.
    advice: Vec<String>,
}

pub(super) fn routes() -> OpenApiRouter<Arc<Office>> {
    OpenApiRouter::new()
        .routes(routes!(file, save))
        .routes(routes!(check))
        .routes(routes!(undo))
        .routes(routes!(retire))
        .routes(routes!(retired))
        .routes(routes!(faulty))
}

/// A system's file.
#[utoipa::path(get, path = "/systems/{id}/file", tag = "systems", params(("id" = String, Path)),
    responses((status = 200, body = FileWire)))]
async fn file(
    visitor: Visitor,
    State(office): State<Arc<Office>>,
    Path(id): Path<String>,
) -> Result<Json<FileWire>, Problem> {
    let file = setup::read(&office, &visitor, &id)?;
    Ok(Json(FileWire { content: file.content, version: file.version, can_undo: file.can_undo }))
}

/// Changes a system, or makes a new one where no `If-Match` is sent. A key that is not named stays, `null` removes
/// it, the lists `splitter` and `basin` are taken whole, and comments stay. Refused with every fault at its field.
#[utoipa::path(put, path = "/systems/{id}/file", tag = "systems",
    params(("id" = String, Path), ("if-match" = Option<String>, Header)), request_body = Object,
    responses((status = 200, body = Good)))]
async fn save(
    visitor: Visitor,
    State(office): State<Arc<Office>>,
    Path(id): Path<String>,
    headers: HeaderMap,
    Sent(change): Sent<Map<String, Value>>,
) -> Result<Json<Good>, Problem> {
    let system = setup::save(&office, &visitor, &id, version(&headers), change).await?;
    Ok(Json(Good { id: system.id.to_string(), advice: systemfile::advice(&system) }))
}

/// Checks a change without making it.
#[utoipa::path(post, path = "/systems/{id}/file/check", tag = "systems", params(("id" = String, Path)),
    request_body = Object, responses((status = 200, body = Good)))]
async fn check(
    visitor: Visitor,
    State(office): State<Arc<Office>>,
    Path(id): Path<String>,
    Sent(change): Sent<Map<String, Value>>,
) -> Result<Json<Good>, Problem> {
    let checked = setup::check(&office, &visitor, &id, &change).await?;
    Ok(Json(Good { id, advice: systemfile::advice(&checked.system) }))
}

/// Goes back to the version before, which can be undone in turn; a retired system is brought back.
#[utoipa::path(post, path = "/systems/{id}/file/undo", tag = "systems", params(("id" = String, Path)),
    responses((status = 204)))]
async fn undo(
    visitor: Visitor,
    State(office): State<Arc<Office>>,
    Path(id): Path<String>,
) -> Result<StatusCode, Problem> {
    setup::undo(&office, &visitor, &id).await?;
    Ok(StatusCode::NO_CONTENT)
}

/// A system that is watched no more.
#[derive(Serialize, ToSchema)]
struct RetiredWire {
    #[schema(value_type = String)]
    id: Id,
    name: String,
    #[schema(value_type = String)]
    property: Id,
}

/// Retires a system: nothing watches it any more, its open alerts are closed in the name of whoever asks, and its file
/// is laid aside. Undoing it brings the system back, with what was learnt. Its history is kept.
#[utoipa::path(post, path = "/systems/{id}/retire", tag = "systems",
    params(("id" = String, Path), ("if-match" = Option<String>, Header)),
    responses((status = 204, description = "It is retired.")))]
async fn retire(
    visitor: Visitor,
    State(office): State<Arc<Office>>,
    Path(id): Path<String>,
    headers: HeaderMap,
) -> Result<StatusCode, Problem> {
    setup::retire(&office, &visitor, &id, version(&headers)).await?;
    Ok(StatusCode::NO_CONTENT)
}

/// Systems that are retired, by their ids.
#[utoipa::path(get, path = "/retired", tag = "systems", params(Paging),
    responses((status = 200, body = Page<RetiredWire>)))]
async fn retired(
    visitor: Visitor,
    State(office): State<Arc<Office>>,
    Asked(paging): Asked<Paging>,
) -> Result<Json<Page<RetiredWire>>, Problem> {
    let after = paging.after(|after| Id::new(after).ok())?;
    let found = setup::all_retired(&office, &visitor).into_iter();
    let further = found.skip_while(|system| after.as_ref().is_some_and(|after| system.id <= *after));
    let items = further.map(|system| RetiredWire {
        id: system.id.clone(),
        name: system.name.clone(),
        property: system.property.clone(),
    });
    let items = items.take(paging.limit() + 1).collect();
    Ok(Json(Page::first(items, paging.limit(), |last: &RetiredWire| last.id.to_string())))
}

/// A system file that cannot be taken as it is.
#[derive(Serialize, ToSchema)]
struct FaultyWire {
    /// The file, with its folder.
    file: String,
    /// The id of its system, if the file is called after one.
    #[schema(value_type = Option<String>)]
    id: Option<Id>,
    /// What its system is called, as far as that can be told.
    name: Option<String>,
    /// What its system belongs to, as far as that can be told.
    #[schema(value_type = Option<String>)]
    property: Option<Id>,
    /// Its system is watched all the same until the next restart, by the plan from before the fault.
    watched: bool,
    faults: Vec<FaultWire>,
}

/// One thing wrong in a system file.
#[derive(Serialize, ToSchema)]
struct FaultWire {
    /// Counted from 1; none where it is about the whole file.
    line: Option<usize>,
    /// In characters, counted from 1.
    column: Option<usize>,
    what: String,
    /// How to mend it.
    how: String,
}

/// System files that cannot be taken, by their names, with all that is wrong. Such a system is not watched, unless the
/// daemon has an earlier plan of it; its open alerts, its history and what was learnt are kept until the file is mended.
#[utoipa::path(get, path = "/faulty-files", tag = "systems", params(Paging),
    responses((status = 200, body = Page<FaultyWire>)))]
async fn faulty(
    visitor: Visitor,
    State(office): State<Arc<Office>>,
    Asked(paging): Asked<Paging>,
) -> Result<Json<Page<FaultyWire>>, Problem> {
    only_if_may(&visitor, Action::Plan)?;
    let after = paging.after(|after| Some(after.to_owned()))?;
    let found = office.faulty(&visitor).into_iter();
    let further = found.skip_while(|file| after.as_ref().is_some_and(|after| file.file <= *after));
    let items = further.map(|file| FaultyWire {
        faults: told(&file, visitor.sees_everything()).into_iter().map(fault_wire).collect(),
        file: file.file,
        id: file.id,
        name: file.name,
        property: file.property,
        watched: file.watched,
    });
    let items = items.take(paging.limit() + 1).collect();
    Ok(Json(Page::first(items, paging.limit(), |last: &FaultyWire| last.file.clone())))
}

fn fault_wire(fault: systemfile::Fault) -> FaultWire {
    let (line, column) = (fault.line, fault.column);
    FaultWire {
        line: (line > 0).then_some(line),
        column: (line > 0).then_some(column),
        what: fault.what,
        how: fault.how,
    }
}

/// The version that a change was made from, as `If-Match` says it.
fn version(headers: &HeaderMap) -> Option<&str> {
    let version = headers.get(header::IF_MATCH).and_then(|version| version.to_str().ok());
    version.map(|version| version.trim_matches('"'))
}
