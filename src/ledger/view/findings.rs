//! What is wrong now, and what was.

use rusqlite::{Row, params};

use crate::ledger::LedgerFault;
use crate::ledger::record::from_json;
use crate::model::{EventTime, Finding, FindingKind, Id};

use super::View;
use super::names::{self, Names};

/// One time that something was wrong.
#[derive(Clone, Debug, PartialEq)]
pub struct StoredFinding {
    /// Where.
    pub system: Id,
    /// When the evidence first sufficed.
    pub raised_at: EventTime,
    /// When it last changed.
    pub changed_at: EventTime,
    /// When it was over, if it is.
    pub cleared_at: Option<EventTime>,
    /// As it is now or was last.
    pub finding: Finding,
}

const COLUMNS: &str = "system, raised_at, changed_at, cleared_at, body";

impl View {
    /// Every finding that is open, oldest first.
    pub fn findings_open(&self) -> Result<Vec<StoredFinding>, LedgerFault> {
        self.read("read the open findings", |db| {
            let names = self.names(db)?;
            // Left alone, SQLite would walk through all of the past to spare itself the sorting.
            let mut query = db.prepare_cached(&format!(
                "SELECT {COLUMNS} FROM findings INDEXED BY findings_open WHERE cleared_at IS NULL ORDER BY raised_at, system, kind, subject"
            ))?;
            query.query_map([], |row| stored(row, &names))?.collect()
        })
    }

    /// Findings of a system that are open, oldest first.
    pub fn findings_open_in(&self, system: &Id) -> Result<Vec<StoredFinding>, LedgerFault> {
        self.read("read the open findings", |db| {
            let names = self.names(db)?;
            let Some(no) = names::system_no(db, system)? else { return Ok(Vec::new()) };
            let mut query = db.prepare_cached(&format!(
                "SELECT {COLUMNS} FROM findings INDEXED BY findings_open WHERE system = ?1 AND cleared_at IS NULL ORDER BY raised_at, kind, subject"
            ))?;
            query.query_map([no], |row| stored(row, &names))?.collect()
        })
    }

    /// Floods found since `since` that are over, oldest first.
    pub fn floods_over(&self, since: EventTime) -> Result<Vec<StoredFinding>, LedgerFault> {
        self.read("read past floods", |db| {
            let names = self.names(db)?;
            let mut query = db.prepare_cached(&format!(
                "SELECT {COLUMNS} FROM findings WHERE raised_at >= ?1 AND kind = ?2 AND cleared_at IS NOT NULL
                 ORDER BY raised_at, system, subject"
            ))?;
            let flooding = FindingKind::Flooding.name();
            query.query_map(params![since.millis(), flooding], |row| stored(row, &names))?.collect()
        })
    }

    /// Floods found within `from..to`, newest first, at most `limit`.
    pub fn floods(
        &self,
        from: EventTime,
        to: EventTime,
        limit: usize,
    ) -> Result<Vec<StoredFinding>, LedgerFault> {
        self.read("read past floods", |db| {
            let names = self.names(db)?;
            let mut query = db.prepare_cached(&format!(
                "SELECT {COLUMNS} FROM findings INDEXED BY findings_by_time
                 WHERE raised_at >= ?1 AND raised_at < ?2 AND kind = ?3
                 ORDER BY raised_at DESC, system, subject LIMIT ?4"
            ))?;
            let values = params![from.millis(), to.millis(), FindingKind::Flooding.name(), limit];
            query.query_map(values, |row| stored(row, &names))?.collect()
        })
    }

    /// When anything was found first.
    pub fn first_finding(&self) -> Result<Option<EventTime>, LedgerFault> {
        self.read("read the first finding", |db| {
            let first: Option<i64> =
                db.query_row("SELECT min(raised_at) FROM findings", [], |row| row.get(0))?;
            Ok(first.map(EventTime::from_millis))
        })
    }

    /// Findings of a system that were open within `from..to`, newest first, at most `limit`.
    pub fn findings_within(
        &self,
        system: &Id,
        from: EventTime,
        to: EventTime,
        limit: usize,
    ) -> Result<Vec<StoredFinding>, LedgerFault> {
        self.read("read findings", |db| {
            let names = self.names(db)?;
            let Some(no) = names::system_no(db, system)? else { return Ok(Vec::new()) };
            let mut query = db.prepare_cached(&format!(
                "SELECT {COLUMNS} FROM findings WHERE system = ?1 AND raised_at < ?2
                 AND (cleared_at IS NULL OR cleared_at > ?3) ORDER BY raised_at DESC, kind, subject LIMIT ?4"
            ))?;
            query
                .query_map(params![no, to.millis(), from.millis(), limit], |row| stored(row, &names))?
                .collect()
        })
    }

    /// Findings open or over that were raised before `before`, newest first, at most `limit`; of one system
    /// or of all.
    pub fn findings_history(
        &self,
        system: Option<&Id>,
        before: EventTime,
        limit: usize,
    ) -> Result<Vec<StoredFinding>, LedgerFault> {
        self.read("read past findings", |db| {
            let names = self.names(db)?;
            let order = "raised_at < ?1 ORDER BY raised_at DESC, system, kind, subject LIMIT ?2";
            let Some(system) = system else {
                let mut query =
                    db.prepare_cached(&format!("SELECT {COLUMNS} FROM findings WHERE {order}"))?;
                return query
                    .query_map(params![before.millis(), limit], |row| stored(row, &names))?
                    .collect();
            };
            let Some(no) = names::system_no(db, system)? else { return Ok(Vec::new()) };
            let mut query =
                db.prepare_cached(&format!("SELECT {COLUMNS} FROM findings WHERE system = ?3 AND {order}"))?;
            query.query_map(params![before.millis(), limit, no], |row| stored(row, &names))?.collect()
        })
    }
}

fn stored(row: &Row<'_>, names: &Names) -> rusqlite::Result<StoredFinding> {
    Ok(StoredFinding {
        system: names.system(row.get(0)?)?,
        raised_at: EventTime::from_millis(row.get(1)?),
        changed_at: EventTime::from_millis(row.get(2)?),
        cleared_at: row.get::<_, Option<i64>>(3)?.map(EventTime::from_millis),
        finding: from_json(4, row.get_ref(4)?.as_str()?)?,
    })
}
