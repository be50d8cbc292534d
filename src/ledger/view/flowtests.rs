//! Flow tests, running and over.

use std::collections::BTreeMap;

use rusqlite::{Connection, OptionalExtension, Row, params};

use super::View;
use super::names::{self, Names};
use crate::flowtest::{Caught, Method, Outcome};
use crate::ledger::LedgerFault;
use crate::ledger::record::{from_json, unexpected, unreadable};
use crate::model::{EventTime, Id, RecordKey};

/// One flow test.
#[derive(Clone, Debug, PartialEq)]
pub struct StoredTest {
    /// Its key.
    pub key: RecordKey,
    /// The system.
    pub system: Id,
    /// How the water is measured.
    pub method: Method,
    /// When it began.
    pub began: EventTime,
    /// Who began it.
    pub by: String,
    /// How much was run, where that is known.
    pub litres: Option<f64>,
    /// What for.
    pub note: String,
    /// When and by whom it was ended.
    pub ended: Option<(EventTime, String)>,
    /// What it came to; none while it runs, and none if it was given up.
    pub outcome: Option<Outcome>,
    /// When and by whom the water of a run measured by probes was said to be off, in order.
    pub run_ends: Vec<(EventTime, String)>,
    /// What was caught in each run by buckets, in order.
    pub runs: Vec<(EventTime, BTreeMap<Id, Caught>)>,
}

const COLUMNS: &str = "no, key, system, method, began, by, litres, note, ended, ended_by, outcome";

impl View {
    /// Flow tests of a system that began in `from..to`, newest first, at most `limit`.
    pub fn flow_tests(
        &self,
        system: &Id,
        from: EventTime,
        to: EventTime,
        limit: usize,
    ) -> Result<Vec<StoredTest>, LedgerFault> {
        self.read("read flow tests", |db| {
            let names = self.names(db)?;
            let Some(no) = names::system_no(db, system)? else { return Ok(Vec::new()) };
            let mut query = db.prepare_cached(&format!(
                "SELECT {COLUMNS} FROM flow_tests WHERE system = ?1 AND began >= ?2 AND began < ?3
                 ORDER BY began DESC, no DESC LIMIT ?4"
            ))?;
            query
                .query_map(params![no, from.millis(), to.millis(), limit], |row| stored(row, &names, db))?
                .collect()
        })
    }

    /// One flow test; none if there is none of that key.
    pub fn flow_test(&self, key: &RecordKey) -> Result<Option<StoredTest>, LedgerFault> {
        self.read("read a flow test", |db| {
            let names = self.names(db)?;
            let mut query = db.prepare_cached(&format!("SELECT {COLUMNS} FROM flow_tests WHERE key = ?1"))?;
            query.query_row([key.as_str()], |row| stored(row, &names, db)).optional()
        })
    }
}

fn stored(row: &Row<'_>, names: &Names, db: &Connection) -> rusqlite::Result<StoredTest> {
    let method = match row.get_ref(3)?.as_str()? {
        "probes" => Method::Probes,
        "buckets" => Method::Buckets,
        _ => return Err(unexpected(3)),
    };
    let ended = match (row.get::<_, Option<i64>>(8)?, row.get(9)?) {
        (Some(at), Some(by)) => Some((EventTime::from_millis(at), by)),
        _ => None,
    };
    let outcome = row.get_ref(10)?.as_str_or_null()?.map(|text| from_json(10, text)).transpose()?;
    let test: i64 = row.get(0)?;
    let mut query = db.prepare_cached("SELECT at, by FROM flow_test_ends WHERE test = ?1 ORDER BY at")?;
    let run_ends = query.query_map([test], |end| Ok((EventTime::from_millis(end.get(0)?), end.get(1)?)))?;
    let run_ends = run_ends.collect::<Result<_, _>>()?;
    let mut query =
        db.prepare_cached("SELECT at, caught FROM flow_test_runs WHERE test = ?1 ORDER BY at, key")?;
    let runs = query.query_map([test], |run| {
        Ok((EventTime::from_millis(run.get(0)?), from_json(1, run.get_ref(1)?.as_str()?)?))
    })?;
    Ok(StoredTest {
        key: RecordKey::new(row.get_ref(1)?.as_str()?).map_err(|error| unreadable(1, error))?,
        system: names.system(row.get(2)?)?,
        method,
        began: EventTime::from_millis(row.get(4)?),
        by: row.get(5)?,
        litres: row.get(6)?,
        note: row.get(7)?,
        ended,
        outcome,
        run_ends,
        runs: runs.collect::<Result<_, _>>()?,
    })
}
