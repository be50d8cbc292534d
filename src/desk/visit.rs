//! The pages' addresses and their fragments.

use std::sync::Arc;

use axum::extract::{Path, Query, State};
use axum::response::Response;
use maud::Markup;
use serde::Deserialize;

use super::answer::{Fault, html};
use super::gather::{self, SystemRecord};
use super::office::Office;
use super::pages;
use super::sheet::{HeardSheet, SystemSheet};
use crate::ledger::{LedgerFault, Resolution, View};
use crate::model::{EventTime, Id, Place, Quantity, Span, System};

/// Past findings on a system's page.
const PAST: usize = 50;

type Shared = State<Arc<Office>>;

/// Which parts of the first page to send.
#[derive(Debug, Deserialize)]
pub(super) struct Wanted {
    /// Names with commas between them; all of `main` without.
    parts: Option<String>,
}

/// `GET /`
pub(super) async fn first(State(office): Shared) -> Response {
    match office.shelf.recent().await {
        Ok(board) => html(pages::first(&office.chrome(board.stamp), &board.main())),
        Err(fault) => Fault::from(fault).page(&office),
    }
}

/// `GET /fragments/first`
pub(super) async fn first_fragment(State(office): Shared, Query(wanted): Query<Wanted>) -> Response {
    match office.shelf.recent().await {
        Ok(board) => html(match wanted.parts {
            Some(names) => board.parts(&names.split(',').collect::<Vec<_>>()),
            None => board.main().into_string(),
        }),
        Err(fault) => Fault::from(fault).page(&office),
    }
}

/// `GET /systems/{id}`
pub(super) async fn system(State(office): Shared, Path(id): Path<String>) -> Response {
    let stamp = match office.shelf.recent().await {
        Ok(board) => board.stamp,
        Err(fault) => return Fault::from(fault).page(&office),
    };
    match system_sheet(&office, &id).await {
        Ok(sheet) => html(pages::system(&office.chrome(stamp), &sheet)),
        Err(fault) => fault.page(&office),
    }
}

/// `GET /fragments/systems/{id}`
pub(super) async fn system_fragment(State(office): Shared, Path(id): Path<String>) -> Response {
    match system_sheet(&office, &id).await {
        Ok(sheet) => html(pages::system_main(&sheet).into_string()),
        Err(fault) => fault.page(&office),
    }
}

/// `GET /heard`
pub(super) async fn heard(State(office): Shared) -> Response {
    let stamp = office.shelf.recent().await.map_or(0, |board| board.stamp);
    match heard_main(&office).await {
        Ok(main) => html(pages::heard(&office.chrome(stamp), &main)),
        Err(fault) => Fault::from(fault).page(&office),
    }
}

/// `GET /fragments/heard`
pub(super) async fn heard_fragment(State(office): Shared) -> Response {
    match heard_main(&office).await {
        Ok(main) => html(main.into_string()),
        Err(fault) => Fault::from(fault).page(&office),
    }
}

/// Everything else.
pub(super) async fn nowhere(State(office): Shared) -> Response {
    Fault::NoPage.page(&office)
}

/// Anything but reading.
pub(super) async fn only_reading(State(office): Shared) -> Response {
    Fault::Method.page(&office)
}

/// Asks the ledger on a thread where waiting is allowed.
pub(super) async fn ask<T: Send + 'static>(
    office: &Office,
    question: impl FnOnce(&View) -> Result<T, LedgerFault> + Send + 'static,
) -> Result<T, LedgerFault> {
    let view = office.desk.view.clone();
    tokio::task::spawn_blocking(move || question(&view))
        .await
        .expect("reading the ledger does not panic and is not aborted")
}

async fn system_sheet(office: &Office, id: &str) -> Result<SystemSheet, Fault> {
    let system = office.system(id).ok_or_else(|| Fault::NoSystem(id.chars().take(Id::MAX_LEN).collect()))?;
    let now = office.now();
    let asked = Arc::clone(&system);
    let record = ask(office, move |view| record(view, &asked, now)).await?;
    Ok(gather::system(&system, &record, now))
}

fn record(view: &View, system: &System, now: EventTime) -> Result<SystemRecord, LedgerFault> {
    let hour = Span::HOUR.millis();
    let this_hour = EventTime::from_millis(now.millis().div_euclid(hour) * hour);
    let week_began = this_hour + Span::HOUR - Span::from_days(7);
    let week = |basin| match system.find_sensor(Place::Basin(basin), Quantity::Moisture) {
        Some(probe) => {
            view.history(&system.id, &system.sensor_name(probe), week_began, now, Resolution::Hour)
        }
        None => Ok(Vec::new()),
    };
    let mut open = view.findings_open()?;
    open.retain(|finding| finding.system == system.id);
    Ok(SystemRecord {
        open,
        history: view.findings_history(Some(&system.id), EventTime::MAX, PAST)?,
        latest: view.latest(Some(&system.id))?,
        moisture: system.basin_ixs().map(week).collect::<Result<_, _>>()?,
        week_began,
    })
}

async fn heard_main(office: &Office) -> Result<Markup, LedgerFault> {
    let (now, zone) = (office.now(), office.zone());
    let sheet: HeardSheet = ask(office, move |view| {
        Ok(gather::heard(&view.totals()?, view.refusals()?, view.unassigned()?, now, &zone))
    })
    .await?;
    Ok(pages::heard_main(&sheet))
}
