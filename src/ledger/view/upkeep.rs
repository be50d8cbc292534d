//! What maintenance is planned from, and the plan that stands.

use std::collections::BTreeMap;

use rusqlite::OptionalExtension;

use super::View;
use crate::ledger::LedgerFault;
use crate::ledger::record::from_json;
use crate::model::{EventTime, Id, Span};
use crate::upkeep::Plan;

/// Changes whenever findings, service records or what may be seen of them do.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct UpkeepStamp([i64; 3]);

/// Days of readings that may not be rolled up yet.
const FRESH: Span = Span::from_days(3);

impl View {
    /// The plan that stands and when it was made; none before the first.
    pub fn plan(&self) -> Result<Option<(EventTime, Plan)>, LedgerFault> {
        self.read("read the plan of visits", |db| {
            let mut query = db.prepare_cached("SELECT made, body FROM plan")?;
            let plan = query.query_row([], |row| {
                Ok((EventTime::from_millis(row.get(0)?), from_json(1, row.get_ref(1)?.as_str()?)?))
            });
            plan.optional()
        })
    }

    /// Tells whether anything has changed that makes a plan urgent.
    pub fn upkeep_stamp(&self) -> Result<UpkeepStamp, LedgerFault> {
        self.read("see whether maintenance has changed", |db| {
            let mut query = db.prepare_cached(
                "SELECT count(*), coalesce(max(changed_at), 0), (SELECT coalesce(max(no), 0) FROM services)
                 FROM findings INDEXED BY findings_open WHERE cleared_at IS NULL",
            )?;
            query.query_row([], |row| Ok(UpkeepStamp([row.get(0)?, row.get(1)?, row.get(2)?])))
        })
    }

    /// The last day on which each system's diverter stood at both of its ends, at `now`: the end of that day of UTC,
    /// or the reading itself where it is recent.
    pub fn diverters_turned(&self, now: EventTime) -> Result<BTreeMap<Id, EventTime>, LedgerFault> {
        self.read("read when diverters were turned", |db| {
            let names = self.names(db)?;
            let mut query = db.prepare_cached(
                "SELECT system, max(at) FROM (
                   SELECT system, at FROM series JOIN days ON days.series = series.no
                     WHERE quantity = 'diverter' AND min <> max
                   UNION ALL
                   SELECT system, at FROM (
                     SELECT system, at, value, lag(value) OVER (PARTITION BY series ORDER BY at) AS before
                       FROM series JOIN readings ON readings.series = series.no
                       WHERE quantity = 'diverter' AND at > ?1)
                     WHERE value <> before)
                 GROUP BY system",
            )?;
            let rows = query.query_map([(now - FRESH).millis()], |row| {
                Ok((names.system(row.get(0)?)?, EventTime::from_millis(row.get(1)?)))
            })?;
            rows.collect()
        })
    }
}
