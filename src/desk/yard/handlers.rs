//! The addresses of visit sheets and labels.

use std::sync::Arc;

use axum::Router;
use axum::extract::{Path, State};
use axum::response::{IntoResponse, Redirect, Response};
use axum::routing::get;

use super::gather;
use super::labels;
use super::pages::{self, Sheet};
use crate::desk::answer::{Fault, html};
use crate::desk::office::Office;
use crate::desk::people::Visitor;
use crate::desk::units::Units;
use crate::desk::upkeep::{self, TaskRow, Wanted};
use crate::desk::visit::ask;
use crate::desk::words;
use crate::desk::{assets, fetch};
use crate::ledger::{DoseRecord, LastService, Latest, LedgerFault, StoredFinding, View};
use crate::model::{Action, EventTime, Span, System};

type Shared = State<Arc<Office>>;

/// The addresses of these pages.
pub(in crate::desk) fn routes() -> Router<Arc<Office>> {
    Router::new()
        .route("/systems/{id}/sheet", get(of_system))
        .route("/properties/{id}/sheet", get(of_property))
        .route("/systems/{id}/labels", get(labels_of))
        .route("/at/{system}/{part}", get(at))
        .route("/worker.js", get(|| async { assets::worker() }))
}

/// `GET /systems/{id}/sheet`
async fn of_system(
    visitor: Visitor,
    State(office): Shared,
    Path(id): Path<String>,
    units: Units,
) -> Response {
    let Some(system) = office.system(&visitor, &id) else {
        return Fault::NoSystem(id).page(&office, &visitor);
    };
    let title = system.name.clone();
    drawn(&office, &visitor, vec![system], (title, format!("/systems/{id}/sheet")), units).await
}

/// `GET /properties/{id}/sheet`
async fn of_property(
    visitor: Visitor,
    State(office): Shared,
    Path(id): Path<String>,
    units: Units,
) -> Response {
    let systems = office.systems(&visitor);
    let here: Vec<_> = systems.iter().filter(|system| system.property.as_str() == id).cloned().collect();
    if here.is_empty() {
        return Fault::NoPage.page(&office, &visitor);
    }
    drawn(&office, &visitor, here, (words::title(&id), format!("/properties/{id}/sheet")), units).await
}

async fn drawn(
    office: &Office,
    visitor: &Visitor,
    systems: Vec<Arc<System>>,
    (title, here): (String, String),
    units: Units,
) -> Response {
    let asked = systems.clone();
    let now = office.now();
    match ask(office, move |view| read(view, &asked, now)).await {
        Ok((known, last)) => {
            let due = due(office, visitor, &systems);
            let drawn = words::moment(now, now, &systems[0].zone);
            let mut sheets: Vec<_> = systems
                .iter()
                .zip(&known)
                .map(|(system, (open, latest, over, doses))| {
                    (
                        gather::system(system, open, latest, (over, doses), &last, &due, (now, units)),
                        &**system,
                    )
                })
                .collect();
            sheets.sort_by_key(|(sheet, _)| sheet.urgency());
            let (sheets, plans) = sheets.into_iter().unzip();
            let wider = wider(office, visitor, &systems);
            let sheet = Sheet { title, here, wider, drawn, systems: sheets, plans, now, units };
            html(pages::sheet(&office.chrome(visitor, 0), &sheet))
        }
        Err(fault) => Fault::from(fault).page(office, visitor),
    }
}

/// Tasks of these systems that are worth doing by now, or planned for the next visit there.
fn due(office: &Office, visitor: &Visitor, systems: &[Arc<System>]) -> Vec<TaskRow> {
    let now = office.now();
    let of = |system: &Arc<System>| Wanted { system: system.id.to_string(), ..Wanted::default() };
    let all = systems.iter().flat_map(|system| upkeep::tasks(office, visitor, &of(system)));
    let upkeep = Arc::clone(&office.desk.upkeep.borrow());
    let next = upkeep::next_visits(&upkeep);
    all.filter(|row| upkeep::is_for_next(&row.task, &next, now)).collect()
}

/// The sheet of the whole property, where it has more systems than these.
fn wider(office: &Office, visitor: &Visitor, systems: &[Arc<System>]) -> Option<(String, String)> {
    let property = &systems.first()?.property;
    let there = office.systems(visitor).iter().filter(|system| system.property == *property).count();
    let address = format!("/properties/{property}/sheet");
    (there > systems.len()).then(|| (address, format!("All of {}", words::title(property.as_str()))))
}

/// Doses of so long tell how a splitter divides.
const MONTH: Span = Span::from_days(30);
/// Findings of that time that are read at most, the newest.
const OVER: usize = 50;

/// Open findings, last readings, findings of the last month and its doses.
type Known = (Vec<StoredFinding>, Vec<Latest>, Vec<StoredFinding>, Vec<DoseRecord>);

fn read(
    view: &View,
    systems: &[Arc<System>],
    now: EventTime,
) -> Result<(Vec<Known>, Vec<LastService>), LedgerFault> {
    let known = systems
        .iter()
        .map(|system| {
            let doses = view.doses(&system.id, now - MONTH, now)?;
            let over = view.findings_within(&system.id, now - MONTH, now, OVER)?;
            Ok((fetch::open(view, system)?, view.latest(Some(&system.id))?, over, doses))
        })
        .collect::<Result<_, LedgerFault>>()?;
    Ok((known, view.last_services()?))
}

/// `GET /at/{system}/{part}`: where a label leads to.
async fn at(visitor: Visitor, State(office): Shared, Path((id, part)): Path<(String, String)>) -> Response {
    let Some(system) = office.system(&visitor, &id) else {
        return Fault::NoSystem(id).page(&office, &visitor);
    };
    let parts = gather::along_the_water(&system);
    match parts.iter().find(|subject| subject.key() == part) {
        Some(subject) if visitor.may(Action::Attend) => {
            Redirect::temporary(&gather::page_of(&id, subject)).into_response()
        }
        Some(_) => Redirect::temporary(&format!("/systems/{id}")).into_response(),
        None => Fault::NoPage.page(&office, &visitor),
    }
}

/// `GET /systems/{id}/labels`
async fn labels_of(visitor: Visitor, State(office): Shared, Path(id): Path<String>) -> Response {
    let Some(system) = office.system(&visitor, &id) else {
        return Fault::NoSystem(id).page(&office, &visitor);
    };
    html(labels::labels(&office.chrome(&visitor, 0), &system, &office.desk.pages)).into_response()
}
