//! What the ledger has ever known: systems and their basins.

use crate::ledger::LedgerFault;
use crate::ledger::record::unreadable;
use crate::model::Id;

use super::View;

impl View {
    /// Every system that ever had a system file, once by itself and once with each basin that it ever had, in no
    /// particular order.
    pub fn places_ever(&self) -> Result<Vec<(Id, Option<Id>)>, LedgerFault> {
        self.read("read the names of all basins", |db| {
            let id = |place, text: &str| Id::new(text).map_err(|error| unreadable(place, error));
            db.prepare_cached(
                "SELECT id, NULL FROM systems UNION SELECT id, substr(sensor, 1, instr(sensor, '/') - 1)
                 FROM series JOIN systems ON systems.no = system WHERE sensor LIKE '_%/%'",
            )?
            .query_and_then([], |row| {
                let basin = row.get_ref(1)?.as_str_or_null()?;
                Ok((id(0, row.get_ref(0)?.as_str()?)?, basin.map(|basin| id(1, basin)).transpose()?))
            })?
            .collect()
        })
    }
}
