//! The addresses of tasks and visits.

use std::collections::BTreeSet;
use std::sync::Arc;

use axum::Router;
use axum::extract::{Query, State};
use axum::http::header;
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post};
use serde::Deserialize;

use super::bring::bring_next;
use super::rows::{TaskRow, VisitRow, Wanted, first_tasks, tasks, visits};
use super::tasks_page::{self, TasksSheet};
use super::visits_page::{self, Calendar, VisitsSheet};
use super::{compared, feed, table};
use crate::desk::answer::{Fault, html};
use crate::desk::office::Office;
use crate::desk::people::{self, Visitor};
use crate::desk::units::Units;
use crate::desk::visit::ask;
use crate::desk::{csv, words};
use crate::ledger::View;
use crate::model::EventTime;
use crate::upkeep::Day;

/// Tasks on the page; the table has all.
const SHOWN: usize = 200;

type Shared = State<Arc<Office>>;

/// The addresses of these pages.
pub(in crate::desk) fn routes() -> Router<Arc<Office>> {
    Router::new()
        .route("/tasks", get(show_tasks))
        .route("/tasks.csv", get(tasks_table))
        .route("/visits", get(show_visits))
        .route("/visits.csv", get(visits_table))
        .route("/visits/compared", get(compared::page))
        .route("/calendar", post(make_calendar))
        .route("/calendar.ics", get(calendar))
}

/// `GET /tasks?text=…&property=…&system=…&kind=…&within=…`
async fn show_tasks(
    visitor: Visitor,
    State(office): Shared,
    Query(wanted): Query<Wanted>,
    units: Units,
) -> Response {
    let (rows, more) = first_tasks(&office, &visitor, &wanted, SHOWN);
    let (properties, today) = (properties(&office, &visitor), today(&office, &visitor));
    let sheet = TasksSheet { rows, more, wanted, properties, today, units };
    html(tasks_page::tasks(&office.chrome(&visitor, 0), &sheet))
}

/// Properties in reach, id and title.
fn properties(office: &Office, visitor: &Visitor) -> BTreeSet<(String, String)> {
    let systems = office.systems(visitor);
    let ids = systems.iter().map(|system| system.property.as_str());
    ids.map(|id| (id.to_owned(), words::title(id))).collect()
}

fn today(office: &Office, visitor: &Visitor) -> Day {
    Day::of(office.now(), &office.zone(visitor))
}

/// `GET /tasks.csv`
async fn tasks_table(visitor: Visitor, State(office): Shared, Query(wanted): Query<Wanted>) -> Response {
    as_csv("tasks", table::tasks(&tasks(&office, &visitor, &wanted)))
}

/// Which visits an address asks for.
#[derive(Debug, Default, Deserialize)]
struct Asked {
    /// Of this property only.
    #[serde(default)]
    property: String,
}

/// `GET /visits?property=…`
async fn show_visits(
    visitor: Visitor,
    State(office): Shared,
    Query(asked): Query<Asked>,
    units: Units,
) -> Response {
    let calendar = if visitor.person().is_some() { Calendar::CanMake } else { Calendar::Open };
    visits_with(&office, &visitor, asked, calendar, units).await
}

async fn visits_with(
    office: &Office,
    visitor: &Visitor,
    asked: Asked,
    calendar: Calendar,
    units: Units,
) -> Response {
    let board = match office.shelf.recent(visitor.reach()).await {
        Ok(board) => board,
        Err(fault) => return Fault::from(fault).page(office, visitor),
    };
    let upkeep = Arc::clone(&office.desk.upkeep.borrow());
    let bring = bring_next(&upkeep, &office.systems(visitor), &board, units, office.now());
    let (made, until) = (upkeep.made, upkeep.until);
    let made = made.map(|at| words::moment(at, office.now(), &office.zone(visitor)));
    let today = today(office, visitor);
    let mut rows = visits(office, visitor);
    // A time of day needs its clock only where there is more than one.
    let zones: BTreeSet<_> = rows.iter().map(|row| row.zone.clone()).collect();
    if zones.len() < 2 {
        for row in &mut rows {
            row.zone = None;
        }
    }
    rows.retain(|row| asked.property.is_empty() || row.visit.property.as_str() == asked.property);
    let properties = properties(office, visitor);
    let next = if rows.is_empty() { next_task(office, visitor, &asked.property) } else { None };
    let property = asked.property;
    let sheet = VisitsSheet { rows, property, properties, made, until, next, today, units, bring, calendar };
    html(visits_page::visits(&office.chrome(visitor, board.stamp), &sheet))
}

/// The task of `property`, of all where that is empty, that falls due first.
fn next_task(office: &Office, visitor: &Visitor, property: &str) -> Option<TaskRow> {
    let wanted = Wanted { property: property.to_owned(), ..Wanted::default() };
    tasks(office, visitor, &wanted).into_iter().min_by_key(|row| row.window[1])
}

/// `GET /visits.csv`
async fn visits_table(visitor: Visitor, State(office): Shared) -> Response {
    let systems = office.systems(&visitor);
    let begins = |row: &VisitRow, at: EventTime| {
        let system = systems.iter().find(|system| system.property == row.visit.property);
        system.map_or_else(|| at.to_string(), |system| csv::time(at, &system.zone))
    };
    as_csv("visits", table::visits(&visits(&office, &visitor), begins))
}

fn as_csv(name: &str, text: String) -> Response {
    let about = [
        (header::CONTENT_TYPE, "text/csv; charset=utf-8".to_owned()),
        (header::CONTENT_DISPOSITION, format!("attachment; filename=\"{name}.csv\"")),
    ];
    (about, text).into_response()
}

/// `POST /calendar`: makes a private address.
async fn make_calendar(visitor: Visitor, State(office): Shared, units: Units) -> Response {
    match people::add_calendar(&office, &visitor).await {
        Ok(token) => {
            let address = format!("{}/calendar.ics?key={}", office.desk.pages, token.reveal());
            visits_with(&office, &visitor, Asked::default(), Calendar::Made(address), units).await
        }
        Err(problem) => problem.into_response(),
    }
}

/// `GET /calendar.ics?key=…`
async fn calendar(visitor: Visitor, State(office): Shared) -> Response {
    let identity = match ask(&office, View::identity).await {
        Ok(identity) => identity,
        Err(fault) => return crate::desk::problem::Problem::from(fault).into_response(),
    };
    let made = office.desk.upkeep.borrow().made.unwrap_or(office.now());
    let text = feed::calendar(&visits(&office, &visitor), (made, &office.desk.pages, &identity));
    let about = [
        (header::CONTENT_TYPE, "text/calendar; charset=utf-8"),
        (header::CACHE_CONTROL, "private, no-cache"),
        (header::CONTENT_DISPOSITION, "inline; filename=\"visits.ics\""),
    ];
    (about, text).into_response()
}
