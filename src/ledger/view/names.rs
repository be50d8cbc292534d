//! The names behind the numbers, kept in memory since they never change.

use std::collections::BTreeSet;
use std::sync::Arc;

use rusqlite::{Connection, OptionalExtension};

use crate::ledger::record::{unexpected, unreadable};
use crate::model::{Id, Quantity};

/// Systems and series by number.
#[derive(Clone, Debug, Default)]
pub(super) struct Names {
    systems: Vec<Option<Id>>,
    series: Vec<Option<Series>>,
    /// Every sensor's name once: many systems call theirs alike.
    sensors: BTreeSet<Arc<str>>,
}

/// What a series is of.
#[derive(Clone, Debug)]
pub(super) struct Series {
    pub(super) system: Id,
    /// Name of the sensor inside its system.
    pub(super) sensor: Arc<str>,
    pub(super) quantity: Quantity,
}

impl Names {
    pub(super) fn system(&self, no: u32) -> rusqlite::Result<Id> {
        let id = self.systems.get(no as usize).and_then(Option::as_ref);
        id.cloned().ok_or_else(|| unexpected(0))
    }

    pub(super) fn series(&self, no: u32) -> rusqlite::Result<&Series> {
        self.series.get(no as usize).and_then(Option::as_ref).ok_or_else(|| unexpected(0))
    }

    pub(super) fn is_complete(&self, db: &Connection) -> rusqlite::Result<bool> {
        let (systems, series) = lengths(db)?;
        Ok(systems <= self.systems.len() && series <= self.series.len())
    }

    /// Adds what is new in `db`.
    pub(super) fn complete(&mut self, db: &Connection) -> rusqlite::Result<()> {
        let lengths = lengths(db)?;
        self.systems.reserve_exact(lengths.0.saturating_sub(self.systems.len()));
        self.series.reserve_exact(lengths.1.saturating_sub(self.series.len()));
        let mut systems = db.prepare("SELECT no, id FROM systems WHERE no >= ?1")?;
        let mut rows = systems.query([self.systems.len()])?;
        while let Some(row) = rows.next()? {
            let id = Id::new(row.get_ref(1)?.as_str()?).map_err(|error| unreadable(1, error))?;
            put(&mut self.systems, row.get(0)?, id);
        }
        let mut series = db.prepare("SELECT no, system, sensor, quantity FROM series WHERE no >= ?1")?;
        let mut rows = series.query([self.series.len()])?;
        while let Some(row) = rows.next()? {
            let quantity = Quantity::named(row.get_ref(3)?.as_str()?).ok_or_else(|| unexpected(3))?;
            let sensor = self.sensor(row.get_ref(2)?.as_str()?);
            let series = Series { system: self.system(row.get(1)?)?, sensor, quantity };
            put(&mut self.series, row.get(0)?, series);
        }
        Ok(())
    }

    fn sensor(&mut self, name: &str) -> Arc<str> {
        if let Some(known) = self.sensors.get(name) {
            return Arc::clone(known);
        }
        let name = Arc::from(name);
        self.sensors.insert(Arc::clone(&name));
        name
    }
}

/// Of lists that have room for every system and series of `db`.
fn lengths(db: &Connection) -> rusqlite::Result<(usize, usize)> {
    db.prepare_cached(
        "SELECT (SELECT coalesce(max(no), -1) + 1 FROM systems), (SELECT coalesce(max(no), -1) + 1 FROM series)",
    )?
    .query_row([], |row| Ok((row.get(0)?, row.get(1)?)))
}

fn put<T>(list: &mut Vec<Option<T>>, slot: usize, value: T) {
    if list.len() <= slot {
        list.resize_with(slot + 1, || None);
    }
    list[slot] = Some(value);
}

/// The number of a system, if the ledger has heard of it.
pub(super) fn system_no(db: &Connection, id: &Id) -> rusqlite::Result<Option<u32>> {
    db.prepare_cached("SELECT no FROM systems WHERE id = ?1")?
        .query_row([id.as_str()], |row| row.get(0))
        .optional()
}

/// The number of a sensor's series, if the ledger has heard of it.
pub(super) fn series_no(db: &Connection, system: &Id, sensor: &str) -> rusqlite::Result<Option<u32>> {
    db.prepare_cached(
        "SELECT series.no FROM systems JOIN series ON series.system = systems.no WHERE id = ?1 AND sensor = ?2",
    )?
    .query_row([system.as_str(), sensor], |row| row.get(0))
    .optional()
}
