//! Systems and series as small numbers.

use std::collections::BTreeMap;

use rusqlite::{Connection, OptionalExtension, TransactionBehavior, params};

use crate::alerts::Piping;
use crate::model::{BasinIx, Id, Quantity, SensorIx, System};

use super::{Ledger, LedgerFault};

/// Stands for a system in the ledger. Given by [`Ledger::enrol`], the same for ever.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct SystemNo(pub(super) u32);

impl SystemNo {
    /// Stands for every system at once; the ledger numbers them from 1.
    pub(super) const EVERY: Self = Self(0);
}

/// Stands for one sensor of one system in the ledger, the same for ever.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub(super) struct SeriesNo(pub(super) u32);

/// The systems that the writer speaks of, by number.
#[derive(Debug, Default)]
pub(super) struct Enrolment {
    systems: Vec<Option<Enrolled>>,
    /// Systems of each property, in order.
    properties: BTreeMap<Id, Vec<SystemNo>>,
}

/// One system as enrolled last.
#[derive(Debug)]
pub(super) struct Enrolled {
    pub(super) id: Id,
    property: Id,
    pub(super) piping: Piping,
    basins: Vec<Id>,
    /// By [`SensorIx`].
    pub(super) series: Vec<SeriesNo>,
    /// First commit with inputs that no snapshot covers.
    pub(super) unsaved_from: Option<u64>,
}

impl Ledger {
    /// Registers `systems` as they are now, in one transaction, and numbers them in the same order.
    ///
    /// Enrol a changed system again after committing what its old plan produced: indices in later
    /// batches are those of the new plan.
    pub fn enrol<'a>(
        &mut self,
        systems: impl IntoIterator<Item = &'a System>,
    ) -> Result<Vec<SystemNo>, LedgerFault> {
        let fault = LedgerFault::while_doing("enrol systems", &self.path);
        let tx = self.db.transaction_with_behavior(TransactionBehavior::Immediate).map_err(&fault)?;
        let mut enrolled = Vec::new();
        for system in systems {
            let no = system_no(&tx, &system.id).map_err(&fault)?;
            let series = series_of(&tx, no, system).map_err(&fault)?;
            enrolled.push((no, Enrolled::new(system, series)));
        }
        tx.commit().map_err(&fault)?;
        let numbers = enrolled.iter().map(|(no, _)| *no).collect();
        for (no, mut system) in enrolled {
            system.unsaved_from = self.held.remove(&no);
            self.enrolment.insert(no, system);
        }
        Ok(numbers)
    }

    /// The number of a system, watched or not, that the ledger has heard of.
    pub fn number_of(&self, id: &Id) -> Result<Option<SystemNo>, LedgerFault> {
        let fault = LedgerFault::while_doing("look for a system", &self.path);
        let mut find = self.db.prepare_cached("SELECT no FROM systems WHERE id = ?1").map_err(&fault)?;
        Ok(find.query_row([id.as_str()], |row| row.get(0)).optional().map_err(&fault)?.map(SystemNo))
    }
}

impl Enrolment {
    pub(super) fn get(&self, no: SystemNo) -> Option<&Enrolled> {
        self.systems.get(no.0 as usize)?.as_ref()
    }

    pub(super) fn get_mut(&mut self, no: SystemNo) -> Option<&mut Enrolled> {
        self.systems.get_mut(no.0 as usize)?.as_mut()
    }

    pub(super) fn iter(&self) -> impl Iterator<Item = (SystemNo, &Enrolled)> {
        let numbered = (0..).map(SystemNo).zip(&self.systems);
        numbered.filter_map(|(no, system)| Some((no, system.as_ref()?)))
    }

    /// The systems of the property that `no` belongs to, itself among them.
    pub(super) fn neighbours(&self, no: SystemNo) -> &[SystemNo] {
        let property = self.get(no).map(|system| &system.property);
        property.and_then(|property| self.properties.get(property)).map_or(&[], Vec::as_slice)
    }

    fn insert(&mut self, no: SystemNo, mut system: Enrolled) {
        let slot = no.0 as usize;
        if self.systems.len() <= slot {
            self.systems.resize_with(slot + 1, || None);
        }
        if let Some(before) = &self.systems[slot] {
            // What was owed before a change of plan is still owed.
            system.unsaved_from = system.unsaved_from.or(before.unsaved_from);
            if let Some(neighbours) = self.properties.get_mut(&before.property) {
                neighbours.retain(|neighbour| *neighbour != no);
            }
        }
        let neighbours = self.properties.entry(system.property.clone()).or_default();
        neighbours.insert(neighbours.partition_point(|neighbour| *neighbour < no), no);
        self.systems[slot] = Some(system);
    }
}

impl Enrolled {
    fn new(system: &System, series: Vec<SeriesNo>) -> Self {
        let basins = system.basins.iter().map(|basin| basin.id.clone()).collect();
        let (id, property) = (system.id.clone(), system.property.clone());
        Self { id, property, piping: Piping::of(system), basins, series, unsaved_from: None }
    }

    pub(super) fn series(&self, sensor: SensorIx) -> Option<SeriesNo> {
        self.series.get(sensor.0 as usize).copied()
    }

    pub(super) fn basin(&self, ix: BasinIx) -> Option<&Id> {
        self.basins.get(ix.0 as usize)
    }
}

fn system_no(db: &Connection, id: &Id) -> rusqlite::Result<SystemNo> {
    let mut find = db.prepare_cached("SELECT no FROM systems WHERE id = ?1")?;
    if let Some(no) = find.query_row([id.as_str()], |row| row.get(0)).optional()? {
        return Ok(SystemNo(no));
    }
    db.prepare_cached("INSERT INTO systems (id) VALUES (?1)")?.execute([id.as_str()])?;
    Ok(SystemNo(db.last_insert_rowid() as u32))
}

/// The series of every sensor of `system`, in its order; new ones are added.
fn series_of(db: &Connection, no: SystemNo, system: &System) -> rusqlite::Result<Vec<SeriesNo>> {
    let mut find = db.prepare_cached("SELECT sensor, no FROM series WHERE system = ?1")?;
    let known: Vec<(String, u32)> =
        find.query_map([no.0], |row| Ok((row.get(0)?, row.get(1)?)))?.collect::<Result<_, _>>()?;
    let mut series = Vec::with_capacity(system.sensors.len());
    for ix in system.sensor_ixs() {
        let name = system.sensor_name(ix);
        series.push(match known.iter().find(|(sensor, _)| *sensor == name) {
            Some((_, no)) => SeriesNo(*no),
            None => add_series(db, no, &name, system.sensor(ix).quantity)?,
        });
    }
    Ok(series)
}

fn add_series(
    db: &Connection,
    system: SystemNo,
    sensor: &str,
    quantity: Quantity,
) -> rusqlite::Result<SeriesNo> {
    db.prepare_cached("INSERT INTO series (system, sensor, quantity) VALUES (?1, ?2, ?3)")?
        .execute(params![system.0, sensor, quantity.name()])?;
    Ok(SeriesNo(db.last_insert_rowid() as u32))
}
