//! The pages of one basin and of one splitter.

use std::sync::Arc;

use axum::extract::{Path, Query, State};
use axum::response::Response;

use super::timeline::Asked;
use super::{Shared, ask, found, record};
use crate::desk::answer::{Fault, html};
use crate::desk::gather::{self, BasinRecord, SplitterRecord};
use crate::desk::office::Office;
use crate::desk::people::Visitor;
use crate::desk::record::in_short;
use crate::desk::sheet::{BasinPage, SplitterPage, Stretch};
use crate::desk::units::Units;
use crate::desk::{fetch, pages, upkeep};
use crate::ledger::{AlertFilter, LedgerFault, ServiceFilter, View};
use crate::model::{Id, Span, SplitterIx, Subject, System, Work};

/// How far back soak times and balances are shown.
const HALF_YEAR: Span = Span::from_days(183);

/// Records of one basin among which its last renewal is looked for.
const RECORDS: usize = 1_000;

/// Alerts of a system among which those of one part are looked for.
const ALERTS: usize = 200;
/// Records of one part that its page names, the newest.
const PAST: usize = 5;

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
    let (record, mut of_basin, alerts) = ask(office, move |view| {
        let record = record(view, &seen, vec![ix], &asked, now)?;
        let alerts = fetch::alerts(view, Some(&seen.id), &record.open)?;
        Ok((record, basin_record(view, &seen, &seen.basin(ix).id, half_year)?, alerts))
    })
    .await?;
    let upkeep = Arc::clone(&office.desk.upkeep.borrow());
    of_basin.mulch_due = upkeep::mulch_due(&upkeep, &system, &system.basin(ix).id, now);
    let mut sheet = gather::basin_page(&system, ix, &record, &of_basin, units);
    gather::name_alerts(&mut sheet.findings, &system, &alerts, now);
    upkeep::count_what_to_bring(&mut sheet.findings, &upkeep, &system, units);
    let newest = of_basin.services.iter().take(PAST);
    sheet.past_work = newest.map(|stored| in_short(&system, stored, units, now)).collect();
    Ok((stamp, sheet))
}

fn basin_record(
    view: &View,
    system: &System,
    basin: &Id,
    half_year: Stretch,
) -> Result<BasinRecord, LedgerFault> {
    let of_basin = ServiceFilter {
        systems: Some(vec![system.id.clone()]),
        subject: Some(Subject::Basin(basin.clone())),
        ..ServiceFilter::default()
    };
    let services = view.services(&of_basin, RECORDS)?;
    let over =
        AlertFilter { system: Some(system.id.clone()), standing: Some(false), ..AlertFilter::default() };
    let forecasts = view.forecasts_of(&system.id, basin, half_year.from, half_year.to)?;
    Ok(BasinRecord {
        half_year,
        week_ago: fetch::week_before(&forecasts).cloned(),
        mulch_due: None,
        soaks: view.soaks(&system.id, half_year.from, half_year.to)?,
        forecast: forecasts.into_iter().next_back(),
        renewed: services
            .iter()
            .find(|stored| stored.record.work.contains(&Work::MulchRenewed))
            .map(|stored| (stored.record.at, stored.record.mulch_left_mm)),
        services,
        alerts: view.alerts(&over, ALERTS)?,
    })
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
    let (record, alerts) = ask(office, move |view| {
        let record = splitter_record(view, &seen, ix, half_year)?;
        let alerts = fetch::alerts(view, Some(&seen.id), &record.open)?;
        Ok((record, alerts))
    })
    .await?;
    let mut sheet = gather::splitter_page(&system, ix, &record, now, units);
    gather::name_alerts(&mut sheet.findings, &system, &alerts, now);
    Ok((stamp, sheet))
}

fn splitter_record(
    view: &View,
    system: &System,
    ix: SplitterIx,
    half_year: Stretch,
) -> Result<SplitterRecord, LedgerFault> {
    let subject = Subject::Splitter(system.splitter(ix).id.clone());
    let (from, to) = (half_year.from, half_year.to);
    let of_splitter = ServiceFilter {
        systems: Some(vec![system.id.clone()]),
        subject: Some(subject),
        from: Some(from),
        ..ServiceFilter::default()
    };
    Ok(SplitterRecord {
        half_year,
        open: fetch::open(view, system)?,
        doses: view.doses(&system.id, from, to)?,
        past: view.findings_within(&system.id, from, to, ALERTS)?,
        services: view.services(&of_splitter, RECORDS)?,
        tests: view.flow_tests(&system.id, from, to, RECORDS)?,
    })
}
