//! When each basin's mulch is due, as was thought at each time.

use rusqlite::params;

use super::View;
use super::names;
use crate::ledger::record::from_json;
use crate::ledger::{ForecastRecord, LedgerFault};
use crate::model::{EventTime, Id};

impl View {
    /// The newest forecast of each basin of each system, by system and basin.
    pub fn forecasts(&self) -> Result<Vec<(Id, ForecastRecord)>, LedgerFault> {
        self.read("read forecasts", |db| {
            let names = self.names(db)?;
            // SQLite takes the other columns from the row that has the largest `made`.
            let mut query = db.prepare_cached(
                "SELECT system, max(made), body FROM forecasts GROUP BY system, basin ORDER BY system, basin",
            )?;
            query
                .query_map([], |row| {
                    Ok((names.system(row.get(0)?)?, from_json(2, row.get_ref(2)?.as_str()?)?))
                })?
                .collect()
        })
    }

    /// Every forecast that was made for one basin in `from..to`, in order.
    pub fn forecasts_of(
        &self,
        system: &Id,
        basin: &Id,
        from: EventTime,
        to: EventTime,
    ) -> Result<Vec<ForecastRecord>, LedgerFault> {
        self.read("read forecasts", |db| {
            let Some(no) = names::system_no(db, system)? else { return Ok(Vec::new()) };
            let mut query = db.prepare_cached(
                "SELECT body FROM forecasts WHERE system = ?1 AND basin = ?2 AND made >= ?3 AND made < ?4
                 ORDER BY made",
            )?;
            query
                .query_map(params![no, basin.as_str(), from.millis(), to.millis()], |row| {
                    from_json(0, row.get_ref(0)?.as_str()?)
                })?
                .collect()
        })
    }
}
