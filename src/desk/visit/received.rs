//! What each basin received, month by month.

use std::sync::Arc;

use axum::extract::{Path, State};
use axum::http::header;
use axum::response::{IntoResponse, Response};

use super::{Shared, ask, found};
use crate::desk::answer::Fault;
use crate::desk::csv;
use crate::desk::gather;
use crate::desk::office::Office;
use crate::desk::people::Visitor;
use crate::desk::sheet::ReceivedTime;
use crate::ledger::LedgerFault;
use crate::model::{Span, System};

/// Months that are told: this one and a year before it.
const MONTHS: i32 = 13;

/// `GET /systems/{id}/received.csv`
pub(in crate::desk) async fn sheet(
    visitor: Visitor,
    State(office): Shared,
    Path(id): Path<String>,
) -> Response {
    let told = match found(&office, &visitor, &id) {
        Ok(system) => months(&office, &system).await.map(|months| (system, months)).map_err(Fault::from),
        Err(fault) => Err(fault),
    };
    match told {
        Ok((system, months)) => {
            let about = [
                (header::CONTENT_TYPE, "text/csv; charset=utf-8".to_owned()),
                (header::CONTENT_DISPOSITION, format!("attachment; filename=\"{id}-received.csv\"")),
            ];
            (about, csv::received(&system, &months)).into_response()
        }
        Err(fault) => fault.page(&office, &visitor),
    }
}

/// What the basins of `system` received in the last 13 months, oldest first.
pub(in crate::desk) async fn months(
    office: &Office,
    system: &Arc<System>,
) -> Result<Vec<ReceivedTime>, LedgerFault> {
    let (of, now) = (Arc::clone(system), office.now());
    ask(office, move |view| {
        let doses = view.doses(&of.id, now - Span::from_days(31 * i64::from(MONTHS)), now)?;
        Ok(gather::months(&of, &doses, now, MONTHS))
    })
    .await
}
