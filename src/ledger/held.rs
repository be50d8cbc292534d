//! Systems that are not watched for now, and what their engines have not lived through since their last snapshots.

use std::collections::BTreeMap;

use rusqlite::{OptionalExtension, Row};

use super::enrol::SystemNo;
use super::journal::{self, Stored};
use super::record::unreadable;
use super::recover::{Lived, entry};
use super::{Ledger, LedgerFault};
use crate::model::Id;

impl Ledger {
    /// Keeps the journal for the systems `ids`, and no longer for others that were held: whoever is enrolled again can
    /// [go on](Self::replay_held) with it. It is kept for as long as for a reader outside that has fallen behind.
    ///
    /// # Errors
    /// When the journal cannot be read.
    pub fn hold<'a>(&mut self, ids: impl IntoIterator<Item = &'a Id>) -> Result<(), LedgerFault> {
        let mut held = BTreeMap::new();
        let mut unknown = BTreeMap::new();
        for id in ids {
            let Some(no) = self.number_of(id)? else { continue };
            let enrolled = self.enrolment.get(no).map(|enrolled| enrolled.unsaved_from);
            match self.held.get(&no).copied().map(Some).or(enrolled) {
                Some(from) => held.extend(from.map(|from| (no, from))),
                None => drop(unknown.insert(no, 0)),
            }
        }
        if !unknown.is_empty() {
            let found = self.unsaved(unknown);
            held.extend(found.map_err(LedgerFault::while_doing("read the journal", &self.path))?);
        }
        self.held = held;
        Ok(())
    }

    /// For each of `systems` that took anything in after its snapshot, the first commit that says so.
    fn unsaved(&self, mut systems: BTreeMap<SystemNo, u64>) -> rusqlite::Result<BTreeMap<SystemNo, u64>> {
        let mut series = BTreeMap::new();
        for (system, saved) in &mut systems {
            let mut find = self.db.prepare_cached("SELECT seq FROM snapshots WHERE system = ?1")?;
            *saved = find.query_row([system.0], |row| row.get(0)).optional()?.unwrap_or(0);
            let mut find = self.db.prepare_cached("SELECT no FROM series WHERE system = ?1")?;
            let numbers = find.query_map([system.0], |row| row.get::<_, u32>(0))?;
            for number in numbers {
                series.insert(number?, *system);
            }
        }
        let mut found = BTreeMap::new();
        let mut blob = |row: &Row<'_>| {
            let seq: u64 = row.get(0)?;
            let each = |_, stored| {
                let system = match stored {
                    Stored::Reading { series: number, .. } => series.get(&number.0).copied(),
                    Stored::Other { system, .. } => Some(system),
                };
                if let Some(system) = system
                    && systems.get(&system).is_some_and(|saved| *saved < seq)
                {
                    found.entry(system).or_insert(seq);
                }
            };
            journal::decode(row.get_ref(1)?.as_blob()?, each).map_err(|error| unreadable(1, error))
        };
        let first = systems.values().min().copied().unwrap_or(self.seq);
        let mut query = self.db.prepare("SELECT seq, entries FROM journal WHERE seq > ?1 ORDER BY seq")?;
        let mut rows = query.query([first])?;
        while let Some(row) = rows.next()? {
            blob(row)?;
        }
        Ok(found)
    }

    /// Whether `system`, which is enrolled, took in what no snapshot covers.
    pub fn has_unsaved(&self, system: SystemNo) -> bool {
        self.enrolment.get(system).is_some_and(|enrolled| enrolled.unsaved_from.is_some())
    }

    /// Gives what the engine of `system`, which was held and is enrolled again, lived through after its snapshot to
    /// `each`, in the order of the commits.
    ///
    /// # Errors
    /// When the journal cannot be read.
    pub fn replay_held(&self, system: SystemNo, mut each: impl FnMut(Lived)) -> Result<(), LedgerFault> {
        let fault = LedgerFault::while_doing("read the journal", &self.path);
        let Some(first) = self.enrolment.get(system).and_then(|enrolled| enrolled.unsaved_from) else {
            return Ok(());
        };
        let sensors = self.sensors();
        let mut blob = |row: &Row<'_>| {
            let each_stored = |received, stored| {
                let Some(entry) = entry(&sensors, received, stored) else { return };
                if entry.system == SystemNo::EVERY {
                    each(Lived::Told(received));
                } else if entry.system == system {
                    each(Lived::Input(entry));
                }
            };
            journal::decode(row.get_ref(0)?.as_blob()?, each_stored).map_err(|error| unreadable(0, error))
        };
        let mut query =
            self.db.prepare("SELECT entries FROM journal WHERE seq >= ?1 ORDER BY seq").map_err(&fault)?;
        let mut rows = query.query([first]).map_err(&fault)?;
        while let Some(row) = rows.next().map_err(&fault)? {
            blob(row).map_err(&fault)?;
        }
        Ok(())
    }
}
