//! The page of all sensors of a system, and that of sensors in doubt.

use std::sync::Arc;

use axum::extract::{Path, State};
use axum::response::Response;

use super::{Shared, ask, found};
use crate::desk::answer::{Fault, html};
use crate::desk::fetch;
use crate::desk::gather;
use crate::desk::office::Office;
use crate::desk::pages;
use crate::desk::people::Visitor;
use crate::desk::sheet::{DoubtsSheet, Filter, SensorsSheet};
use crate::desk::units::Units;
use crate::desk::words;
use crate::model::Action;

/// `GET /systems/{id}/sensors`
pub(in crate::desk) async fn of_system(
    visitor: Visitor,
    State(office): Shared,
    Path(id): Path<String>,
    units: Units,
) -> Response {
    match sheet(&office, &visitor, &id, units).await {
        Ok((stamp, sheet)) => html(pages::sensors_page(&office.chrome(&visitor, stamp), &sheet)),
        Err(fault) => fault.page(&office, &visitor),
    }
}

/// `GET /fragments/systems/{id}/sensors`
pub(in crate::desk) async fn of_system_fragment(
    visitor: Visitor,
    State(office): Shared,
    Path(id): Path<String>,
    units: Units,
) -> Response {
    match sheet(&office, &visitor, &id, units).await {
        Ok((_, sheet)) => html(pages::sensors_page_main(&sheet).into_string()),
        Err(fault) => fault.page(&office, &visitor),
    }
}

async fn sheet(
    office: &Office,
    visitor: &Visitor,
    id: &str,
    units: Units,
) -> Result<(u64, SensorsSheet), Fault> {
    let stamp = office.shelf.recent(visitor.reach()).await?.stamp;
    let system = found(office, visitor, id)?;
    let (now, seen) = (office.now(), Arc::clone(&system));
    let record = ask(office, move |view| fetch::sensors(view, &seen, now)).await?;
    let link = (office.desk.broker.as_str(), office.desk.files.prefix.as_str());
    let mut sheet = gather::sensors_sheet(&system, &record, link, now, units);
    sheet.may_change = visitor.may(Action::Plan);
    sheet.hears_all = visitor.sees_everything();
    Ok((stamp, sheet))
}

/// `GET /sensors`
pub(in crate::desk) async fn in_doubt(visitor: Visitor, State(office): Shared) -> Response {
    let board = match office.shelf.latest(visitor.reach()).await {
        Ok(board) => board,
        Err(fault) => return Fault::from(fault).page(&office, &visitor),
    };
    let everything = Filter::default();
    let mut rows: Vec<_> = board.chosen(&everything).flat_map(gather::doubts).collect();
    rows.sort_by_key(|row| row.urgency);
    let unheard = board.chosen(&everything).filter_map(|card| {
        let says = match (&card.last_heard, words::partly_heard(card)) {
            (None, _) => "nothing was heard from it".to_owned(),
            (Some(_), says) => says?,
        };
        Some((card.id.to_string(), card.name.clone(), says))
    });
    let sheet = DoubtsSheet { rows, unheard: unheard.collect() };
    html(pages::doubts_page(&office.chrome(&visitor, board.stamp), &sheet))
}
