//! Tasks and visits.

use std::sync::Arc;

use axum::Json;
use axum::extract::State;
use axum::http::StatusCode;
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use super::asked::Asked;
use super::paging::{Page, Paging};
use crate::desk::office::Office;
use crate::desk::people::{self, Visitor};
use crate::desk::problem::Problem;
use crate::desk::upkeep::{TaskRow, VisitRow, Wanted, tasks, visits};
use crate::model::{EventTime, Id, Severity, Subject};
use crate::upkeep::{Day, Material, TaskKind};

/// A piece of maintenance. Days are of the yard's calendar.
#[derive(Serialize, ToSchema)]
struct TaskWire {
    #[schema(value_type = String)]
    property: Id,
    #[schema(value_type = String)]
    system: Id,
    /// `loosen-basin`, `clear-outlet`, `clear-line`, `find-leak`, `level-splitter`, `check-slope`, `renew-mulch`,
    /// `flow-test`, `check-probe`, `change-battery`, `inspect-outlet`, `exercise-diverter` or `yearly-look`.
    #[schema(value_type = String)]
    task: TaskKind,
    #[schema(value_type = Object)]
    subject: Subject,
    title: String,
    /// `info`, `warning` or `critical`.
    #[schema(value_type = String)]
    urgency: Severity,
    /// Something is wrong already; otherwise the task prevents it.
    mends: bool,
    /// First day on which it is worth doing.
    #[schema(format = Date)]
    earliest: String,
    /// The day to meet.
    #[schema(format = Date)]
    due: String,
    /// Later, what the task is to prevent is likely.
    #[schema(format = Date)]
    latest: String,
    reason: String,
    materials: Vec<MaterialWire>,
    tools: &'static [&'static str],
    cautions: &'static [&'static str],
    minutes: u32,
    /// The visit that it is planned for.
    visit: Option<u64>,
}

/// Something to bring that is used up.
#[derive(Serialize, ToSchema)]
struct MaterialWire {
    what: &'static str,
    quantity: f64,
    /// Empty for pieces.
    unit: &'static str,
}

/// Tasks done at one property on one day.
#[derive(Serialize, ToSchema)]
struct VisitWire {
    /// Its number, which it keeps when its day is moved.
    number: u64,
    #[schema(value_type = String)]
    property: Id,
    #[schema(format = Date)]
    day: String,
    #[schema(value_type = String, format = DateTime)]
    begins: EventTime,
    /// Minutes of work there.
    minutes: u32,
    why: String,
    skipping_risks: String,
    /// Tasks that it does after their due day.
    late: usize,
    /// What is used up, summed over the visit.
    materials: Vec<MaterialWire>,
    tools: Vec<&'static str>,
    tasks: Vec<TaskWire>,
}

/// Which tasks.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct Which {
    /// Of this property only.
    #[serde(default)]
    property: String,
    /// Of this system only.
    #[serde(default)]
    system: String,
    /// Of this kind only.
    #[serde(default)]
    kind: String,
    /// Due within this many days.
    #[param(maximum = 65535)]
    within: Option<u16>,
}

pub(super) fn routes() -> OpenApiRouter<Arc<Office>> {
    OpenApiRouter::new()
        .routes(routes!(list_tasks))
        .routes(routes!(list_visits))
        .routes(routes!(make_calendar))
}

/// The address of a calendar of visits.
#[derive(Serialize, ToSchema)]
struct CalendarWire {
    /// For a calendar program (iCalendar, RFC 5545); whoever has it sees the visits. Shown only now.
    address: String,
}

/// Makes a private calendar of the visits in the asker's reach; it can be revoked among the keys.
#[utoipa::path(post, path = "/calendar", tag = "maintenance", responses((status = 201, body = CalendarWire)))]
async fn make_calendar(
    visitor: Visitor,
    State(office): State<Arc<Office>>,
) -> Result<(StatusCode, Json<CalendarWire>), Problem> {
    let token = people::add_calendar(&office, &visitor).await?;
    let address = format!("{}/calendar.ics?key={}", office.desk.pages, token.reveal());
    Ok((StatusCode::CREATED, Json(CalendarWire { address })))
}

/// What is to be done, most urgent first.
#[utoipa::path(get, path = "/tasks", tag = "maintenance", params(Which, Paging),
    responses((status = 200, body = Page<TaskWire>)))]
async fn list_tasks(
    visitor: Visitor,
    State(office): State<Arc<Office>>,
    Asked(which): Asked<Which>,
    Asked(paging): Asked<Paging>,
) -> Result<Json<Page<TaskWire>>, Problem> {
    let within = which.within.map_or_else(String::new, |days| days.to_string());
    let wanted = Wanted {
        property: which.property,
        system: which.system,
        kind: which.kind,
        within,
        ..Wanted::default()
    };
    let rows = tasks(&office, &visitor, &wanted);
    let key = |row: &TaskRow| row.task.key.text();
    Ok(Json(page(rows, &paging, key, task_wire)?))
}

/// Visits by day.
#[utoipa::path(get, path = "/visits", tag = "maintenance", params(Paging),
    responses((status = 200, body = Page<VisitWire>)))]
async fn list_visits(
    visitor: Visitor,
    State(office): State<Arc<Office>>,
    Asked(paging): Asked<Paging>,
) -> Result<Json<Page<VisitWire>>, Problem> {
    let key = |row: &VisitRow| row.visit.no.to_string();
    Ok(Json(page(visits(&office, &visitor), &paging, key, visit_wire)?))
}

/// One page of `rows`, which are told apart by `key`.
fn page<R, W>(
    rows: Vec<R>,
    paging: &Paging,
    key: impl Fn(&R) -> String,
    wire: impl Fn(R) -> W,
) -> Result<Page<W>, Problem> {
    let after = paging.after(|after| Some(after.to_owned()))?;
    // Where the last one told is gone, the list begins anew rather than being cut.
    let from = after.and_then(|after| rows.iter().position(|row| key(row) == after)).map_or(0, |at| at + 1);
    let limit = paging.limit();
    let items: Vec<R> = rows.into_iter().skip(from).take(limit + 1).collect();
    let Page { items, next } = Page::first(items, limit, key);
    Ok(Page { items: items.into_iter().map(wire).collect(), next })
}

fn date(day: Day) -> String {
    day.date().to_string()
}

fn material(material: &Material) -> MaterialWire {
    MaterialWire { what: material.what, quantity: material.quantity, unit: material.unit }
}

fn task_wire(row: TaskRow) -> TaskWire {
    let [earliest, due, latest] = row.window.map(date);
    let task = row.task;
    TaskWire {
        property: task.property,
        system: task.key.system,
        task: task.key.kind,
        subject: task.key.subject,
        title: row.title,
        urgency: task.urgency,
        mends: task.mends,
        earliest,
        due,
        latest,
        reason: task.reason,
        materials: task.materials.iter().map(material).collect(),
        tools: task.key.kind.tools(),
        cautions: task.key.kind.cautions(),
        minutes: task.minutes,
        visit: row.visit.map(|(no, _)| no),
    }
}

fn visit_wire(row: VisitRow) -> VisitWire {
    VisitWire {
        number: row.visit.no,
        day: date(row.visit.day),
        property: row.visit.property,
        begins: row.begins,
        minutes: row.visit.minutes,
        why: row.why,
        skipping_risks: row.risk,
        late: row.late,
        materials: row.materials.iter().map(material).collect(),
        tools: row.tools,
        tasks: row.tasks.into_iter().map(task_wire).collect(),
    }
}
