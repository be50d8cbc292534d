//! The page of one sensor.

use std::sync::Arc;

use axum::extract::{Path, State};
use axum::response::Response;

use super::{PAST, Shared, ask, found};
use crate::desk::answer::{Fault, html};
use crate::desk::fetch;
use crate::desk::gather;
use crate::desk::office::Office;
use crate::desk::pages;
use crate::desk::people::Visitor;
use crate::desk::sheet::SensorPage;
use crate::desk::units::Units;

type Named = Path<(String, String)>;

/// `GET /systems/{id}/sensors/{*sensor}`
pub(in crate::desk) async fn sensor(
    visitor: Visitor,
    State(office): Shared,
    named: Named,
    units: Units,
) -> Response {
    match sheet(&office, &visitor, named, units).await {
        Ok((stamp, sheet)) => html(pages::sensor_page(&office.chrome(&visitor, stamp), &sheet)),
        Err(fault) => fault.page(&office, &visitor),
    }
}

/// `GET /fragments/systems/{id}/sensors/{*sensor}`
pub(in crate::desk) async fn sensor_fragment(
    visitor: Visitor,
    State(office): Shared,
    named: Named,
    units: Units,
) -> Response {
    match sheet(&office, &visitor, named, units).await {
        Ok((_, sheet)) => html(pages::sensor_page_main(&sheet).into_string()),
        Err(fault) => fault.page(&office, &visitor),
    }
}

async fn sheet(
    office: &Office,
    visitor: &Visitor,
    Path((id, sensor)): Named,
    units: Units,
) -> Result<(u64, SensorPage), Fault> {
    let stamp = office.shelf.recent(visitor.reach()).await?.stamp;
    let system = found(office, visitor, &id)?;
    let ix = system.sensor_ixs().find(|ix| system.sensor_name(*ix) == sensor).ok_or(Fault::NoPage)?;
    let (now, topic) = (office.now(), system.topic(ix, &office.desk.files.prefix));
    let (seen, heard_at) = (Arc::clone(&system), topic.clone());
    let (record, alerts) = ask(office, move |view| {
        let record = fetch::sensor(view, &seen, ix, &heard_at, PAST, now)?;
        let alerts = fetch::alerts(view, Some(&seen.id), &record.open)?;
        Ok((record, alerts))
    })
    .await?;
    let mut sheet = gather::sensor_page(&system, ix, topic, &record, now, units);
    gather::name_alerts(&mut sheet.findings, &system, &alerts, now);
    Ok((stamp, sheet))
}
