//! Readings: the last of each sensor, and all of them in the order of the commits.

use std::sync::Arc;

use rusqlite::{CachedStatement, Connection, OptionalExtension, Row, params};

use crate::ledger::LedgerFault;
use crate::ledger::journal::{self, Stored};
use crate::ledger::pack::{self, unless_damaged};
use crate::ledger::record::unreadable;
use crate::model::{EventTime, Id, Quantity, Reading, System, Value};

use super::View;
use super::names::{self, Names};

/// The newest reading of one sensor, by its own time.
#[derive(Clone, Debug, PartialEq)]
pub struct Latest {
    /// Its system.
    pub system: Id,
    /// Its name inside the system.
    pub sensor: Arc<str>,
    /// What it measures.
    pub quantity: Quantity,
    /// When it was measured.
    pub at: EventTime,
    /// See [`Value::to_number`](crate::model::Value::to_number).
    pub value: f64,
}

/// Readings of whole commits, for a reader that passes them on.
#[derive(Clone, Debug, PartialEq)]
pub struct ExportedReadings {
    /// The last commit read; go on after it.
    pub seq: u64,
    /// The readings, repeated where a message was delivered twice.
    pub readings: Vec<Latest>,
}

impl View {
    /// The newest reading of every sensor, of one system or of all.
    pub fn latest(&self, system: Option<&Id>) -> Result<Vec<Latest>, LedgerFault> {
        self.read("read the latest readings", |db| {
            let names = self.names(db)?;
            let Some(system) = system else {
                let mut query = db.prepare_cached("SELECT series, at, value FROM latest")?;
                return query.query_map([], |row| latest(row, &names))?.collect();
            };
            let Some(no) = names::system_no(db, system)? else { return Ok(Vec::new()) };
            let mut query = db.prepare_cached(
                "SELECT latest.series, latest.at, latest.value FROM series JOIN latest ON latest.series = series.no
                 WHERE series.system = ?1 ORDER BY series.sensor",
            )?;
            query.query_map([no], |row| latest(row, &names))?.collect()
        })
    }

    /// Readings of the sensors that `system` has, measured in `from..to`, in the order in which its engine takes them
    /// in. Those that are damaged are left out.
    pub fn readings(
        &self,
        system: &System,
        from: EventTime,
        to: EventTime,
    ) -> Result<Vec<Reading>, LedgerFault> {
        self.read("read the stored readings", |db| {
            let mut readings = Vec::new();
            for sensor in system.sensor_ixs() {
                let name = system.sensor_name(sensor);
                let Some(series) = names::series_no(db, &system.id, &name)? else { continue };
                let kept = unless_damaged(pack::between(db, series, from.millis(), to.millis()))?;
                let quantity = system.sensor(sensor).quantity;
                readings.extend(kept.into_iter().flatten().map(|sample| Reading {
                    sensor,
                    at: EventTime::from_millis(sample.at),
                    value: Value::from_number(quantity, sample.value),
                }));
            }
            readings.sort_by_key(|reading| (reading.at, reading.sensor));
            Ok(readings)
        })
    }

    /// Readings of the commits after `after`, until there are at least `enough` of them; with
    /// `after` itself where nothing followed. Where readings of one time contradict each other, all say what was kept.
    ///
    /// The journal that they come from is kept until every cursor on readings has passed it, within
    /// the limits of the retention policy.
    pub fn readings_since(&self, after: u64, enough: usize) -> Result<ExportedReadings, LedgerFault> {
        self.read("read the journal", |db| {
            let names = self.names(db)?;
            let mut exported = ExportedReadings { seq: after, readings: Vec::new() };
            let mut kept = Kept::of(db)?;
            let mut query =
                db.prepare_cached("SELECT seq, entries FROM journal WHERE seq > ?1 ORDER BY seq")?;
            let mut rows = query.query([after])?;
            while exported.readings.len() < enough {
                let Some(row) = rows.next()? else { break };
                export(row, &names, &mut kept, &mut exported)?;
            }
            Ok(exported)
        })
    }

    /// How far a cursor on readings has come; 0 for a new one.
    pub fn readings_cursor(&self, name: &str) -> Result<u64, LedgerFault> {
        self.read("read a cursor", |db| cursor(db, name, "readings"))
    }

    /// How far a cursor on effects has come; 0 for a new one.
    pub fn effects_cursor(&self, name: &str) -> Result<u64, LedgerFault> {
        self.read("read a cursor", |db| cursor(db, name, "effects"))
    }
}

/// What was kept of a time, packed or not.
struct Kept<'db> {
    db: &'db Connection,
    row: CachedStatement<'db>,
    block: pack::Cache,
}

impl<'db> Kept<'db> {
    fn of(db: &'db Connection) -> rusqlite::Result<Self> {
        let row = db.prepare_cached("SELECT value FROM readings WHERE series = ?1 AND at = ?2")?;
        Ok(Self { db, row, block: pack::Cache::default() })
    }

    fn value_at(&mut self, series: u32, at: i64) -> rusqlite::Result<Option<f64>> {
        let loose = self.row.query_row(params![series, at], |row| row.get(0)).optional()?;
        loose.map_or_else(|| self.block.value_at(self.db, series, at), |value| Ok(Some(value)))
    }
}

fn latest(row: &Row<'_>, names: &Names) -> rusqlite::Result<Latest> {
    reading(names, row.get(0)?, EventTime::from_millis(row.get(1)?), row.get(2)?)
}

pub(super) fn reading(names: &Names, series: u32, at: EventTime, value: f64) -> rusqlite::Result<Latest> {
    let series = names.series(series)?;
    let (system, sensor) = (series.system.clone(), Arc::clone(&series.sensor));
    Ok(Latest { system, sensor, quantity: series.quantity, at, value })
}

fn export(
    row: &Row<'_>,
    names: &Names,
    kept: &mut Kept<'_>,
    exported: &mut ExportedReadings,
) -> rusqlite::Result<()> {
    let mut fault = None;
    journal::decode(row.get_ref(1)?.as_blob()?, |_, stored| {
        let Stored::Reading { series, at, value } = stored else { return };
        let kept = kept.value_at(series.0, at.millis());
        // None for a reading whose time to be kept is over.
        let value = kept.map(|kept| kept.unwrap_or_else(|| value.to_number()));
        match value.and_then(|value| reading(names, series.0, at, value)) {
            Ok(reading) => exported.readings.push(reading),
            Err(error) => fault = Some(error),
        }
    })
    .map_err(|error| unreadable(1, error))?;
    exported.seq = row.get(0)?;
    fault.map_or(Ok(()), Err)
}

fn cursor(db: &Connection, name: &str, stream: &str) -> rusqlite::Result<u64> {
    db.prepare_cached("SELECT coalesce(max(seq), 0) FROM cursors WHERE name = ?1 AND stream = ?2")?
        .query_row(params![name, stream], |row| row.get(0))
}
