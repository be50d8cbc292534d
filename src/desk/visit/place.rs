//! The pages of one basin and of one splitter.

use std::sync::Arc;

use axum::extract::{Path, Query, State};
use axum::response::Response;

use super::timeline::Asked;
use super::{Shared, ask, found, record};
use crate::desk::answer::{Fault, html};
use crate::desk::gather;
use crate::desk::office::Office;
use crate::desk::pages;
use crate::desk::people::Visitor;
use crate::desk::sheet::{BasinPage, SplitterPage, Stretch};
use crate::desk::units::Units;
use crate::model::Span;

/// How far back soak times and balances are shown.
const HALF_YEAR: Span = Span::from_days(183);

type Named = Path<(String, String)>;

/// `GET /systems/{id}/basins/{basin}`
pub(in crate::desk) async fn basin(
    visitor: Visitor,
    State(office): Shared,
    named: Named,
    Query(asked): Query<Asked>,
    units: Units,
) -> Response {
    match basin_sheet(&office, &visitor, named, asked, units).await {
        Ok((stamp, sheet)) => html(pages::basin_page(&office.chrome(&visitor, stamp), &sheet, units)),
        Err(fault) => fault.page(&office, &visitor),
    }
}

/// `GET /fragments/systems/{id}/basins/{basin}`
pub(in crate::desk) async fn basin_fragment(
    visitor: Visitor,
    State(office): Shared,
    named: Named,
    Query(asked): Query<Asked>,
    units: Units,
) -> Response {
    match basin_sheet(&office, &visitor, named, asked, units).await {
        Ok((_, sheet)) => html(pages::basin_page_main(&sheet, units).into_string()),
        Err(fault) => fault.page(&office, &visitor),
    }
}

async fn basin_sheet(
    office: &Office,
    visitor: &Visitor,
    Path((id, basin)): Named,
    asked: Asked,
    units: Units,
) -> Result<(u64, BasinPage), Fault> {
    let stamp = office.shelf.recent(visitor.reach()).await?.stamp;
    let system = found(office, visitor, &id)?;
    let ix = system.find_basin(&basin).ok_or(Fault::NoPage)?;
    let now = office.now();
    let half_year = Stretch::between(now - HALF_YEAR, now);
    let seen = Arc::clone(&system);
    let (record, soaks, forecast) = ask(office, move |view| {
        let record = record(view, &seen, vec![ix], &asked, now)?;
        let soaks = view.soaks(&seen.id, half_year.from, half_year.to)?;
        let basin = &seen.basin(ix).id;
        Ok((record, soaks, view.forecasts_of(&seen.id, basin, half_year.from, half_year.to)?.pop()))
    })
    .await?;
    let outlook = (&half_year, forecast.as_ref());
    Ok((stamp, gather::basin_page(&system, ix, &record, &soaks, outlook, units)))
}

/// `GET /systems/{id}/splitters/{splitter}`
pub(in crate::desk) async fn splitter(
    visitor: Visitor,
    State(office): Shared,
    named: Named,
    units: Units,
) -> Response {
    match splitter_sheet(&office, &visitor, named, units).await {
        Ok((stamp, sheet)) => html(pages::splitter_page(&office.chrome(&visitor, stamp), &sheet)),
        Err(fault) => fault.page(&office, &visitor),
    }
}

/// `GET /fragments/systems/{id}/splitters/{splitter}`
pub(in crate::desk) async fn splitter_fragment(
    visitor: Visitor,
    State(office): Shared,
    named: Named,
    units: Units,
) -> Response {
    match splitter_sheet(&office, &visitor, named, units).await {
        Ok((_, sheet)) => html(pages::splitter_page_main(&sheet).into_string()),
        Err(fault) => fault.page(&office, &visitor),
    }
}

async fn splitter_sheet(
    office: &Office,
    visitor: &Visitor,
    Path((id, splitter)): Named,
    units: Units,
) -> Result<(u64, SplitterPage), Fault> {
    let stamp = office.shelf.recent(visitor.reach()).await?.stamp;
    let system = found(office, visitor, &id)?;
    let ix = system.find_splitter(&splitter).ok_or(Fault::NoPage)?;
    let now = office.now();
    let half_year = Stretch::between(now - HALF_YEAR, now);
    let seen = Arc::clone(&system);
    let (open, doses) = ask(office, move |view| {
        Ok((view.findings_open_in(&seen.id)?, view.doses(&seen.id, half_year.from, half_year.to)?))
    })
    .await?;
    Ok((stamp, gather::splitter_page(&system, ix, &open, &doses, &half_year, now, units)))
}
