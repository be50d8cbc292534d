//! The way back into the engines after a restart.

use std::collections::BTreeMap;

use rusqlite::{OptionalExtension, Row};

use crate::engine::Input;
use crate::model::{EventTime, Reading, SensorIx};

use super::batch::JournalEntry;
use super::enrol::SystemNo;
use super::journal::{self, Stored};
use super::record::unreadable;
use super::{Ledger, LedgerFault};

/// Where the engines stood.
#[derive(Debug, Default)]
pub struct Recovery {
    /// The last snapshot of each enrolled system that has one.
    pub snapshots: BTreeMap<SystemNo, Snapshot>,
    /// When the newest message arrived.
    pub last_received: Option<EventTime>,
}

/// What engines lived through after their snapshots.
#[derive(Debug, PartialEq)]
pub enum Lived {
    /// One took something in.
    Input(JournalEntry),
    /// All were told the time; some may know it from their snapshots.
    Told(EventTime),
}

/// The state of an engine after commit `seq`.
#[derive(Debug, PartialEq)]
pub struct Snapshot {
    /// The commit.
    pub seq: u64,
    /// What [`Batch::save`](super::Batch::save) was given.
    pub state: Vec<u8>,
}

impl Ledger {
    /// Snapshots of the enrolled systems.
    pub fn recover(&self) -> Result<Recovery, LedgerFault> {
        self.snapshots().map_err(LedgerFault::while_doing("read the snapshots", &self.path))
    }

    /// What was saved last of one system's engine.
    pub fn snapshot(&self, system: SystemNo) -> Result<Option<Vec<u8>>, LedgerFault> {
        let fault = LedgerFault::while_doing("read a snapshot", &self.path);
        let mut find =
            self.db.prepare_cached("SELECT state FROM snapshots WHERE system = ?1").map_err(&fault)?;
        find.query_row([system.0], |row| row.get(0)).optional().map_err(fault)
    }

    fn snapshots(&self) -> rusqlite::Result<Recovery> {
        let mut snapshots = BTreeMap::new();
        let mut query = self.db.prepare("SELECT system, seq, state FROM snapshots")?;
        let mut rows = query.query([])?;
        while let Some(row) = rows.next()? {
            let system = SystemNo(row.get(0)?);
            if self.enrolment.get(system).is_some() {
                snapshots.insert(system, Snapshot { seq: row.get(1)?, state: row.get(2)? });
            }
        }
        let received: Option<i64> = self.db.query_row("SELECT received FROM totals", [], |row| row.get(0))?;
        Ok(Recovery { snapshots, last_received: received.map(EventTime::from_millis) })
    }

    /// Gives everything that the engines of enrolled systems lived through after their snapshots to `each`, in the order
    /// of the commits, and returns how many inputs there were. Sensors that a system no longer has are left out. Which time
    /// all were told last is given even if every snapshot is newer, since systems that are enrolled later ask for it.
    pub fn replay(&mut self, recovery: &Recovery, mut each: impl FnMut(Lived)) -> Result<u64, LedgerFault> {
        let fault = LedgerFault::while_doing("read the journal", &self.path);
        let sensors = self.sensors();
        let first = self.enrolment.iter().map(|(no, _)| recovery.seq(no)).min().unwrap_or(self.seq);
        let mut unsaved: BTreeMap<SystemNo, u64> = BTreeMap::new();
        let mut count = 0;
        let mut blob = |row: &Row<'_>| {
            let (seq, entries): (u64, _) = (row.get(0)?, row.get_ref(1)?.as_blob()?);
            let each_stored = |received, stored| {
                let Some(entry) = entry(&sensors, received, stored) else { return };
                if entry.system == SystemNo::EVERY {
                    each(Lived::Told(received));
                } else if self.enrolment.get(entry.system).is_some() && recovery.seq(entry.system) < seq {
                    unsaved.entry(entry.system).or_insert(seq);
                    count += 1;
                    each(Lived::Input(entry));
                }
            };
            journal::decode(entries, each_stored).map_err(|error| unreadable(1, error))
        };
        let mut query = self
            .db
            .prepare(
                "SELECT seq, entries FROM journal WHERE seq > ?1 OR seq = (SELECT max(seq) FROM journal) ORDER BY seq",
            )
            .map_err(&fault)?;
        let mut rows = query.query([first]).map_err(&fault)?;
        while let Some(row) = rows.next().map_err(&fault)? {
            blob(row).map_err(&fault)?;
        }
        drop(rows);
        drop(query);
        drop(fault);
        for (system, seq) in unsaved {
            if let Some(enrolled) = self.enrolment.get_mut(system) {
                enrolled.unsaved_from = Some(seq);
            }
        }
        self.replayed = true;
        Ok(count)
    }

    /// System and index of each series, by its number.
    pub(super) fn sensors(&self) -> Vec<Option<(SystemNo, SensorIx)>> {
        let mut sensors = Vec::new();
        for (no, system) in self.enrolment.iter() {
            for (ix, series) in (0..).map(SensorIx).zip(&system.series) {
                let slot = series.0 as usize;
                if sensors.len() <= slot {
                    sensors.resize(slot + 1, None);
                }
                sensors[slot] = Some((no, ix));
            }
        }
        sensors
    }
}

impl Recovery {
    /// The commit that a system's snapshot covers, 0 without one.
    fn seq(&self, system: SystemNo) -> u64 {
        self.snapshots.get(&system).map_or(0, |snapshot| snapshot.seq)
    }
}

pub(super) fn entry(
    sensors: &[Option<(SystemNo, SensorIx)>],
    received: EventTime,
    stored: Stored,
) -> Option<JournalEntry> {
    match stored {
        Stored::Reading { series, at, value } => {
            let (system, sensor) = (*sensors.get(series.0 as usize)?)?;
            Some(JournalEntry { system, received, input: Input::Reading(Reading { sensor, at, value }) })
        }
        Stored::Other { system, input } => Some(JournalEntry { system, received, input }),
    }
}
