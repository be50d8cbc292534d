//! The addresses of the history of floods.

use std::sync::Arc;

use axum::Router;
use axum::extract::{Query, State};
use axum::http::header;
use axum::response::{IntoResponse, Response};
use axum::routing::get;
use serde::Deserialize;
use utoipa::IntoParams;

use super::account::Flood;
use super::page::{self, FloodSheet};
use super::{read, table};
use crate::desk::answer::{Fault, html};
use crate::desk::office::Office;
use crate::desk::people::Visitor;
use crate::desk::visit::ask;
use crate::ledger::{LedgerFault, View};
use crate::model::System;

/// Years before this one that the page offers.
const OFFERED: i16 = 5;

type Shared = State<Arc<Office>>;

/// Which floods.
#[derive(Clone, Debug, Default, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
pub(in crate::desk) struct Wanted {
    /// Found in this year of each system's own calendar; the present one without it.
    #[serde(default)]
    year: String,
    /// Of this property only.
    #[serde(default)]
    property: String,
}

/// The addresses of these pages.
pub(in crate::desk) fn routes() -> Router<Arc<Office>> {
    Router::new().route("/floods", get(list)).route("/floods.csv", get(sheet))
}

impl Wanted {
    /// The year that is asked for; none if it is no year.
    fn year(&self, office: &Office, visitor: &Visitor) -> Option<i16> {
        if self.year.is_empty() {
            let now = office.now().timestamp().to_zoned_datetime(office.zone(visitor));
            return Some(now.year());
        }
        self.year.parse().ok().filter(|year| (1970..=9000).contains(year))
    }

    /// The systems in the visitor's reach that it asks for.
    fn systems(&self, office: &Office, visitor: &Visitor) -> Vec<Arc<System>> {
        let all = office.systems(visitor);
        let wanted =
            |system: &&Arc<System>| self.property.is_empty() || system.property.as_str() == self.property;
        all.iter().filter(wanted).cloned().collect()
    }

    /// The floods in the visitor's reach that it asks for, newest first, and their year; none if it is no year.
    ///
    /// # Errors
    /// When the ledger cannot be read.
    pub(in crate::desk) async fn floods(
        &self,
        office: &Office,
        visitor: &Visitor,
    ) -> Result<Option<(i16, Vec<Flood>)>, LedgerFault> {
        let Some(year) = self.year(office, visitor) else { return Ok(None) };
        let (systems, now) = (self.systems(office, visitor), office.now());
        ask(office, move |view| Ok(Some((year, read::floods(view, &systems, year, now)?)))).await
    }
}

/// `GET /floods`
async fn list(visitor: Visitor, State(office): Shared, Query(wanted): Query<Wanted>) -> Response {
    let (year, floods) = match wanted.floods(&office, &visitor).await {
        Ok(Some(found)) => found,
        Ok(None) => return Fault::NoPage.page(&office, &visitor),
        Err(fault) => return Fault::from(fault).page(&office, &visitor),
    };
    let first = match ask(&office, View::first_finding).await {
        Ok(first) => first,
        Err(fault) => return Fault::from(fault).page(&office, &visitor),
    };
    let year_of =
        |at: crate::model::EventTime| at.timestamp().to_zoned_datetime(office.zone(&visitor)).year();
    let latest = year_of(office.now());
    let first = first.map_or(latest, year_of).max(latest - OFFERED);
    let systems = office.systems(&visitor);
    // What lies beyond is not so much as named.
    let property = systems.iter().map(|system| &system.property).find(|it| it.as_str() == wanted.property);
    let sheet = FloodSheet {
        year,
        years: (first..=latest).rev().collect(),
        property: property.cloned(),
        is_beyond: property.is_none() && !wanted.property.is_empty(),
        systems: Arc::clone(&systems),
        floods,
        now: office.now(),
    };
    html(page::page(&office.chrome(&visitor, 0), &sheet))
}

/// `GET /floods.csv`
async fn sheet(visitor: Visitor, State(office): Shared, Query(wanted): Query<Wanted>) -> Response {
    match wanted.floods(&office, &visitor).await {
        Ok(Some((year, floods))) => {
            let about = [
                (header::CONTENT_TYPE, "text/csv; charset=utf-8".to_owned()),
                (header::CONTENT_DISPOSITION, format!("attachment; filename=\"floods-{year}.csv\"")),
            ];
            (about, table::csv(&floods, &office.systems(&visitor))).into_response()
        }
        Ok(None) => Fault::NoPage.page(&office, &visitor),
        Err(fault) => Fault::from(fault).page(&office, &visitor),
    }
}
