//! The addresses of yearly records.

use std::sync::Arc;

use axum::Router;
use axum::extract::{Path, State};
use axum::http::header;
use axum::response::{IntoResponse, Redirect, Response};
use axum::routing::get;
use jiff::tz::TimeZone;

use super::account::Account;
use super::draw::account;
use super::pages::{self, YearSheet};
use super::read::{self, Span};
use super::table;
use crate::desk::answer::{Fault, html};
use crate::desk::office::Office;
use crate::desk::people::Visitor;
use crate::desk::units::Units;
use crate::desk::visit::ask;
use crate::desk::words;
use crate::ledger::LedgerFault;
use crate::model::{EventTime, System};

/// Years before this one that the page offers.
const OFFERED: i16 = 5;

type Shared = State<Arc<Office>>;

/// The addresses of these pages.
pub(in crate::desk) fn routes() -> Router<Arc<Office>> {
    Router::new()
        .route("/systems/{id}/year", get(this_year))
        .route("/systems/{id}/years/{year}", get(of_system))
        .route("/properties/{id}/years/{year}", get(of_property))
}

/// The account of one system in `year`; none if the year lies ahead.
pub(in crate::desk) async fn year_of(
    office: &Office,
    system: &Arc<System>,
    year: i16,
) -> Result<Option<Account>, LedgerFault> {
    let Some(span) = Span::of(system, year, office.now()) else { return Ok(None) };
    let asked = Arc::clone(system);
    ask(office, move |view| Ok(Some(account(&asked, span, &read::rows(view, &asked, span)?)))).await
}

/// `GET /systems/{id}/year`: the year that it is there.
async fn this_year(visitor: Visitor, State(office): Shared, Path(id): Path<String>) -> Response {
    let Some(system) = office.system(&visitor, &id) else {
        return Fault::NoSystem(id).page(&office, &visitor);
    };
    Redirect::temporary(&format!("/systems/{id}/years/{}", year_in(&system.zone, office.now())))
        .into_response()
}

fn year_in(zone: &TimeZone, at: EventTime) -> i16 {
    at.timestamp().to_zoned_datetime(zone.clone()).year()
}

/// `GET /systems/{id}/years/{year}`, and with `.csv` at its end
async fn of_system(
    visitor: Visitor,
    State(office): Shared,
    Path((id, year)): Path<(String, String)>,
    units: Units,
) -> Response {
    let Some(system) = office.system(&visitor, &id) else {
        return Fault::NoSystem(id).page(&office, &visitor);
    };
    let title = system.name.clone();
    answer(&office, &visitor, &[system], (title, format!("/systems/{id}/years")), &year, units).await
}

/// `GET /properties/{id}/years/{year}`, and with `.csv` at its end
async fn of_property(
    visitor: Visitor,
    State(office): Shared,
    Path((id, year)): Path<(String, String)>,
    units: Units,
) -> Response {
    let systems = office.systems(&visitor);
    let here: Vec<_> = systems.iter().filter(|system| system.property.as_str() == id).cloned().collect();
    answer(&office, &visitor, &here, (words::title(&id), format!("/properties/{id}/years")), &year, units)
        .await
}

async fn answer(
    office: &Office,
    visitor: &Visitor,
    systems: &[Arc<System>],
    (title, base): (String, String),
    asked: &str,
    units: Units,
) -> Response {
    let (digits, is_table) = asked.strip_suffix(".csv").map_or((asked, false), |digits| (digits, true));
    let Ok(year) = digits.parse::<i16>() else { return Fault::NoPage.page(office, visitor) };
    let mut years = Vec::new();
    for system in systems {
        match year_of(office, system, year).await {
            Ok(found) => years.extend(found.map(|year| (year, system.zone.clone()))),
            Err(fault) => return Fault::from(fault).page(office, visitor),
        }
    }
    let Some((_, zone)) = years.first() else { return Fault::NoPage.page(office, visitor) };
    if is_table {
        let name = base.trim_start_matches('/').replace('/', "-");
        let about = [
            (header::CONTENT_TYPE, "text/csv; charset=utf-8".to_owned()),
            (header::CONTENT_DISPOSITION, format!("attachment; filename=\"{name}-{year}.csv\"")),
        ];
        return (about, table::csv(&years)).into_response();
    }
    let latest = year_in(zone, office.now());
    let first = match first_year(office, systems).await {
        Ok(first) => first.unwrap_or(latest),
        Err(fault) => return Fault::from(fault).page(office, visitor),
    };
    let others = (first.max(latest - OFFERED)..=latest).filter(|other| *other != year);
    let others = others.map(|other| (other, format!("{base}/{other}"))).collect();
    let wider = match systems {
        [system] if base.starts_with("/systems/") => {
            let property = &system.property;
            let words = format!("All of {}", words::title(property.as_str()));
            Some((format!("/properties/{property}/years/{year}"), words))
        }
        _ => None,
    };
    let back = match systems {
        [system] if base.starts_with("/systems/") => {
            Some((format!("/systems/{}", system.id), system.name.clone()))
        }
        _ => None,
    };
    let sheet = YearSheet {
        title,
        back,
        here: format!("{base}/{year}"),
        year,
        wider,
        years,
        others,
        drawn: office.now(),
        units,
    };
    html(pages::page(&office.chrome(visitor, 0), &sheet))
}

/// The year in which the first of `systems` was heard first; none if none was heard yet.
async fn first_year(office: &Office, systems: &[Arc<System>]) -> Result<Option<i16>, LedgerFault> {
    let systems = systems.to_vec();
    ask(office, move |view| {
        let mut first = None;
        for system in systems {
            if let Some(at) = view.heard_since(&system.id)? {
                let year = year_in(&system.zone, at);
                first = Some(first.map_or(year, |first: i16| first.min(year)));
            }
        }
        Ok(first)
    })
    .await
}
