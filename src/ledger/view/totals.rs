//! How much came in, what was refused, what nobody claims.

use std::collections::BTreeMap;
use std::ffi::OsString;
use std::fs;
use std::path::Path;

use rusqlite::Connection;

use crate::ledger::LedgerFault;
use crate::model::EventTime;

use super::View;

/// Counts since the ledger was created.
#[derive(Clone, Debug, PartialEq)]
pub struct Totals {
    /// Messages taken in.
    pub messages: u64,
    /// Readings stored.
    pub readings: u64,
    /// Readings that came again.
    pub duplicates: u64,
    /// Refused records by reason.
    pub refused: BTreeMap<String, u64>,
    /// Messages on topics that no system claims.
    pub unassigned: u64,
    /// Number of the last commit, 0 before the first.
    pub last_commit: u64,
    /// When the newest committed message arrived.
    pub last_received: Option<EventTime>,
    /// Size of the ledger's files, bytes.
    pub bytes: u64,
}

/// What was refused.
#[derive(Clone, Debug, PartialEq)]
pub struct Refusals {
    /// Refused records by reason, since the ledger was created.
    pub counts: BTreeMap<String, u64>,
    /// The newest ones, newest first.
    pub samples: Vec<RefusalSample>,
}

/// One refused record.
#[derive(Clone, Debug, PartialEq)]
pub struct RefusalSample {
    /// When it arrived.
    pub at: EventTime,
    /// Why, in a word.
    pub reason: String,
    /// On which topic.
    pub topic: String,
    /// The beginning of the payload.
    pub sample: String,
    /// Why, in a sentence.
    pub detail: String,
}

/// A topic that no system claims.
#[derive(Clone, Debug, PartialEq)]
pub struct Unassigned {
    /// The topic.
    pub topic: String,
    /// When it was first heard.
    pub first_at: EventTime,
    /// When it was last heard.
    pub last_at: EventTime,
    /// How often.
    pub count: u64,
    /// The beginning of the last payload.
    pub sample: String,
}

impl View {
    /// Counts since the ledger was created.
    pub fn totals(&self) -> Result<Totals, LedgerFault> {
        let bytes = size(self.path());
        self.read("read the totals", |db| {
            let refused = refused(db)?;
            let mut query = db.prepare_cached(
                "SELECT messages, readings, duplicates, unassigned, seq, received FROM totals",
            )?;
            query.query_row([], |row| {
                Ok(Totals {
                    messages: row.get(0)?,
                    readings: row.get(1)?,
                    duplicates: row.get(2)?,
                    refused,
                    unassigned: row.get(3)?,
                    last_commit: row.get(4)?,
                    last_received: row.get::<_, Option<i64>>(5)?.map(EventTime::from_millis),
                    bytes,
                })
            })
        })
    }

    /// What was refused: all reasons, and the newest 200 records.
    pub fn refusals(&self) -> Result<Refusals, LedgerFault> {
        self.read("read the refusals", |db| {
            let mut query = db.prepare_cached(
                "SELECT at, reason, topic, sample, detail FROM refusal_samples ORDER BY no DESC",
            )?;
            let samples = query.query_map([], |row| {
                Ok(RefusalSample {
                    at: EventTime::from_millis(row.get(0)?),
                    reason: row.get(1)?,
                    topic: row.get(2)?,
                    sample: row.get(3)?,
                    detail: row.get(4)?,
                })
            })?;
            Ok(Refusals { counts: refused(db)?, samples: samples.collect::<Result<_, _>>()? })
        })
    }

    /// The topics heard last that no system claims, at most 500, by name.
    pub fn unassigned(&self) -> Result<Vec<Unassigned>, LedgerFault> {
        self.read("read the unassigned topics", |db| {
            let mut query = db.prepare_cached(
                "SELECT topic, first_at, last_at, count, sample FROM unassigned ORDER BY topic",
            )?;
            let topics = query.query_map([], |row| {
                Ok(Unassigned {
                    topic: row.get(0)?,
                    first_at: EventTime::from_millis(row.get(1)?),
                    last_at: EventTime::from_millis(row.get(2)?),
                    count: row.get(3)?,
                    sample: row.get(4)?,
                })
            })?;
            topics.collect()
        })
    }
}

fn refused(db: &Connection) -> rusqlite::Result<BTreeMap<String, u64>> {
    let mut query = db.prepare_cached("SELECT reason, count FROM refusals")?;
    query.query_map([], |row| Ok((row.get(0)?, row.get(1)?)))?.collect()
}

/// Size of the database and its write-ahead log.
fn size(path: &Path) -> u64 {
    let mut log = OsString::from(path);
    log.push("-wal");
    let length = |path: &Path| fs::metadata(path).map_or(0, |file| file.len());
    length(path) + length(Path::new(&log))
}
