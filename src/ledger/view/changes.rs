//! The log of effects, in order.

use rusqlite::{Connection, Row, params};

use crate::engine::{Change, FindingChange};
use crate::ledger::record::{from_json, unexpected};
use crate::ledger::{LedgerFault, Record};
use crate::model::{EventTime, Id};

use super::View;
use super::names::{self, Names};
use crate::ledger::{DoseRecord, SoakRecord};

/// One effect in the log.
#[derive(Clone, Debug, PartialEq)]
pub struct LoggedEffect {
    /// Its number; later effects have higher ones.
    pub seq: u64,
    /// Whose conclusion.
    pub system: Id,
    /// What was concluded.
    pub record: Record,
}

impl View {
    /// The next effects after `after`, at most `limit`. Nothing appears later below what was read.
    pub fn changes_since(&self, after: u64, limit: usize) -> Result<Vec<LoggedEffect>, LedgerFault> {
        self.read("read the log", |db| {
            let names = self.names(db)?;
            let mut query = db.prepare_cached(
                "SELECT seq, system, kind, at, change, body FROM effects WHERE seq > ?1 ORDER BY seq LIMIT ?2",
            )?;
            query.query_map(params![after, limit], |row| logged(row, &names))?.collect()
        })
    }

    /// Number of the newest effect, 0 while there is none.
    pub fn last_effect(&self) -> Result<u64, LedgerFault> {
        self.read("read the log", |db| {
            db.query_row("SELECT coalesce(max(seq), 0) FROM effects", [], |row| row.get(0))
        })
    }

    /// Doses of a system that began in `from..to`, in order.
    pub fn doses(&self, system: &Id, from: EventTime, to: EventTime) -> Result<Vec<DoseRecord>, LedgerFault> {
        self.read("read doses", |db| bodies(db, system, "dose", from, to))
    }

    /// Stays of standing water in a system that began in `from..to`, in order.
    pub fn soaks(&self, system: &Id, from: EventTime, to: EventTime) -> Result<Vec<SoakRecord>, LedgerFault> {
        self.read("read soak times", |db| bodies(db, system, "soak", from, to))
    }
}

fn logged(row: &Row<'_>, names: &Names) -> rusqlite::Result<LoggedEffect> {
    let body = row.get_ref(5)?.as_str()?;
    let record = match row.get_ref(2)?.as_str()? {
        "finding" => Record::Finding(FindingChange {
            change: change(row.get_ref(4)?.as_str()?)?,
            at: EventTime::from_millis(row.get(3)?),
            finding: from_json(5, body)?,
        }),
        "dose" => Record::Dose(from_json(5, body)?),
        "soak" => Record::Soak(from_json(5, body)?),
        _ => return Err(unexpected(2)),
    };
    Ok(LoggedEffect { seq: row.get(0)?, system: names.system(row.get(1)?)?, record })
}

fn change(name: &str) -> rusqlite::Result<Change> {
    match name {
        "raised" => Ok(Change::Raised),
        "updated" => Ok(Change::Updated),
        "cleared" => Ok(Change::Cleared),
        _ => Err(unexpected(4)),
    }
}

fn bodies<T: serde::de::DeserializeOwned>(
    db: &Connection,
    system: &Id,
    kind: &str,
    from: EventTime,
    to: EventTime,
) -> rusqlite::Result<Vec<T>> {
    let Some(no) = names::system_no(db, system)? else { return Ok(Vec::new()) };
    let mut query = db.prepare_cached(
        "SELECT body FROM effects WHERE system = ?1 AND kind = ?2 AND at >= ?3 AND at < ?4 ORDER BY at, once",
    )?;
    query
        .query_map(params![no, kind, from.millis(), to.millis()], |row| {
            from_json(0, row.get_ref(0)?.as_str()?)
        })?
        .collect()
}
