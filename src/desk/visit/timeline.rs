//! A stretch of a system's time: in the address, for the script that tells what is pointed at, and as CSV.

use std::sync::Arc;

use axum::Json;
use axum::extract::{Path, Query, State};
use axum::http::header;
use axum::response::{IntoResponse, Response};
use serde::{Deserialize, Serialize};

use super::{Shared, ask, found};
use crate::desk::answer::Fault;
use crate::desk::gather::{self, TimelineRecord};
use crate::desk::office::Office;
use crate::desk::people::Visitor;
use crate::desk::sheet::{Range, Stretch};
use crate::desk::units::Units;
use crate::desk::{csv, fetch};
use crate::ledger::{LedgerFault, View};
use crate::model::{BasinIx, EventTime, System};

/// Which stretch an address asks for; the last week if none, or if it makes no sense.
#[derive(Clone, Debug, Default, Deserialize)]
pub(in crate::desk) struct Asked {
    range: Option<String>,
    from: Option<String>,
    to: Option<String>,
}

impl Asked {
    /// The stretch for a system, which is asked of the ledger only where it matters.
    pub(super) fn stretch(
        &self,
        view: &View,
        system: &System,
        now: EventTime,
    ) -> Result<Stretch, LedgerFault> {
        let time = |text: &Option<String>| text.as_deref().and_then(|text| text.parse::<EventTime>().ok());
        if let (Some(from), Some(to)) = (time(&self.from), time(&self.to)) {
            return Ok(Stretch::between(from, to));
        }
        let range = self.range.as_deref().and_then(Range::named).unwrap_or(Range::Week);
        let since = match range {
            Range::All => view.heard_since(&system.id)?.unwrap_or(now),
            Range::Day | Range::Week | Range::Month | Range::Year => now,
        };
        Ok(Stretch::last(range, since, now))
    }
}

/// What is told about the columns of a drawing.
#[derive(Serialize)]
struct ToldWire {
    columns: Vec<Vec<String>>,
}

/// `GET /systems/{id}/timeline.json`
pub(in crate::desk) async fn json(
    visitor: Visitor,
    State(office): Shared,
    Path(id): Path<String>,
    Query(asked): Query<Asked>,
    units: Units,
) -> Response {
    match looked(&office, &visitor, &id, None, asked).await {
        Ok((system, stretch, record)) => {
            Json(ToldWire { columns: gather::told(&system, &record, &stretch, units) }).into_response()
        }
        Err(fault) => fault.page(&office, &visitor),
    }
}

/// `GET /systems/{id}/timeline.csv`
pub(in crate::desk) async fn sheet(
    visitor: Visitor,
    State(office): Shared,
    Path(id): Path<String>,
    Query(asked): Query<Asked>,
) -> Response {
    match looked(&office, &visitor, &id, None, asked).await {
        Ok((system, stretch, record)) => as_csv(&system, &stretch, &record, &id),
        Err(fault) => fault.page(&office, &visitor),
    }
}

/// `GET /systems/{id}/basins/{basin}/timeline.json`
pub(in crate::desk) async fn basin_json(
    visitor: Visitor,
    State(office): Shared,
    Path((id, basin)): Path<(String, String)>,
    Query(asked): Query<Asked>,
    units: Units,
) -> Response {
    match looked(&office, &visitor, &id, Some(&basin), asked).await {
        Ok((system, stretch, record)) => {
            Json(ToldWire { columns: gather::told(&system, &record, &stretch, units) }).into_response()
        }
        Err(fault) => fault.page(&office, &visitor),
    }
}

/// `GET /systems/{id}/basins/{basin}/timeline.csv`
pub(in crate::desk) async fn basin_sheet(
    visitor: Visitor,
    State(office): Shared,
    Path((id, basin)): Path<(String, String)>,
    Query(asked): Query<Asked>,
) -> Response {
    match looked(&office, &visitor, &id, Some(&basin), asked).await {
        Ok((system, stretch, record)) => as_csv(&system, &stretch, &record, &format!("{id}-{basin}")),
        Err(fault) => fault.page(&office, &visitor),
    }
}

async fn looked(
    office: &Office,
    visitor: &Visitor,
    id: &str,
    basin: Option<&str>,
    asked: Asked,
) -> Result<(Arc<System>, Stretch, TimelineRecord), Fault> {
    let system = found(office, visitor, id)?;
    let basins: Vec<BasinIx> = match basin {
        Some(basin) => vec![system.find_basin(basin).ok_or(Fault::NoPage)?],
        None => system.basin_ixs().collect(),
    };
    let now = office.now();
    let seen = Arc::clone(&system);
    let (stretch, record) = ask(office, move |view| {
        let stretch = asked.stretch(view, &seen, now)?;
        Ok((stretch, fetch::timeline(view, &seen, basins, &stretch, now)?))
    })
    .await?;
    Ok((system, stretch, record))
}

fn as_csv(system: &System, stretch: &Stretch, record: &TimelineRecord, name: &str) -> Response {
    let text = csv::timeline(&gather::timeline_table(system, record, stretch), &system.zone);
    let about = [
        (header::CONTENT_TYPE, "text/csv; charset=utf-8".to_owned()),
        (header::CONTENT_DISPOSITION, format!("attachment; filename=\"{name}.csv\"")),
    ];
    (about, text).into_response()
}
