//! Flow tests: begun, filled with what was caught, ended with what they came to.

use std::collections::BTreeMap;

use rusqlite::{Connection, OptionalExtension, params};

use super::{Answer, Refused, Reply};
use crate::flowtest::{Caught, Method, Outcome};
use crate::ledger::record::to_json;
use crate::model::{EventTime, Id, RecordKey};

/// Runs in one test.
const RUNS: usize = 20;

/// Something done with a flow test.
#[derive(Clone, Debug, PartialEq)]
pub struct TestOrder {
    /// When.
    pub at: EventTime,
    /// Who.
    pub by: String,
    /// The system.
    pub system: Id,
    /// The test.
    pub key: RecordKey,
    /// What.
    pub deed: TestDeed,
}

/// What is done with a flow test.
#[derive(Clone, Debug, PartialEq)]
pub enum TestDeed {
    /// It begins. The same one again changes nothing; a system has one at a time.
    Begin {
        /// How the water is measured.
        method: Method,
        /// How much is run, where that is known.
        litres: Option<f64>,
        /// What for.
        note: String,
    },
    /// Water was caught below the outlets. The same again changes nothing.
    Catch {
        /// This run.
        run: RecordKey,
        /// By basin.
        caught: BTreeMap<Id, Caught>,
    },
    /// No more water comes in this run, which its probes are to measure.
    RunOver,
    /// It ends with this.
    Finish {
        /// What it came to.
        outcome: Outcome,
    },
    /// It ends without a result.
    GiveUp,
}

pub(super) fn write(db: &Connection, order: &TestOrder) -> rusqlite::Result<Answer> {
    let found: Option<(i64, bool)> = db
        .prepare_cached(
            "SELECT no, ended IS NOT NULL FROM flow_tests
             WHERE key = ?1 AND system = (SELECT no FROM systems WHERE id = ?2)",
        )?
        .query_row([order.key.as_str(), order.system.as_str()], |row| Ok((row.get(0)?, row.get(1)?)))
        .optional()?;
    match (&order.deed, found) {
        (TestDeed::Begin { .. }, Some(_)) => Ok(Ok(Reply::Done)),
        (TestDeed::Begin { method, litres, note }, None) => begin(db, order, *method, *litres, note),
        (_, None) => Ok(refuse("there is no such flow test")),
        (TestDeed::Catch { run, caught }, Some((test, ended))) => keep(db, order, (test, ended), run, caught),
        (TestDeed::RunOver | TestDeed::Finish { .. } | TestDeed::GiveUp, Some((_, true))) => {
            Ok(refuse("this flow test is over already"))
        }
        (TestDeed::RunOver, Some((test, false))) => run_over(db, order, test),
        (TestDeed::Finish { outcome }, Some((test, false))) => end(db, order, test, Some(outcome)),
        (TestDeed::GiveUp, Some((test, false))) => end(db, order, test, None),
    }
}

/// Whether `run` is new, and its test is under way.
pub(in crate::ledger) fn is_new_run(
    db: &Connection,
    order: &TestOrder,
    run: &RecordKey,
) -> rusqlite::Result<bool> {
    db.prepare_cached(
        "SELECT 1 FROM flow_tests
         WHERE key = ?1 AND system = (SELECT no FROM systems WHERE id = ?2) AND ended IS NULL
             AND NOT EXISTS (SELECT 1 FROM flow_test_runs WHERE key = ?3)",
    )?
    .exists([order.key.as_str(), order.system.as_str(), run.as_str()])
}

fn begin(
    db: &Connection,
    order: &TestOrder,
    method: Method,
    litres: Option<f64>,
    note: &str,
) -> rusqlite::Result<Answer> {
    let system: Option<u32> = db
        .prepare_cached("SELECT no FROM systems WHERE id = ?1")?
        .query_row([order.system.as_str()], |row| row.get(0))
        .optional()?;
    let Some(system) = system else { return Ok(refuse(&format!("no system is called {}", order.system))) };
    let runs = db
        .prepare_cached("SELECT 1 FROM flow_tests WHERE system = ?1 AND ended IS NULL")?
        .exists([system])?;
    let taken = db.prepare_cached("SELECT 1 FROM flow_tests WHERE key = ?1")?.exists([order.key.as_str()])?;
    if runs || taken {
        return Ok(refuse("a flow test of this system is running already: end it or give it up first"));
    }
    let method = match method {
        Method::Probes => "probes",
        Method::Buckets => "buckets",
    };
    db.prepare_cached(
        "INSERT INTO flow_tests (key, system, method, began, by, litres, note) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
    )?
    .execute(params![order.key.as_str(), system, method, order.at.millis(), order.by, litres, note.trim()])?;
    Ok(Ok(Reply::Done))
}

fn keep(
    db: &Connection,
    order: &TestOrder,
    (test, ended): (i64, bool),
    run: &RecordKey,
    caught: &BTreeMap<Id, Caught>,
) -> rusqlite::Result<Answer> {
    if db.prepare_cached("SELECT 1 FROM flow_test_runs WHERE key = ?1")?.exists([run.as_str()])? {
        return Ok(Ok(Reply::Done));
    }
    let runs: usize = db
        .prepare_cached("SELECT count(*) FROM flow_test_runs WHERE test = ?1")?
        .query_row([test], |row| row.get(0))?;
    if ended {
        return Ok(refuse("this flow test is over already"));
    }
    if runs >= RUNS {
        return Ok(refuse(&format!("a flow test holds at most {RUNS} runs")));
    }
    db.prepare_cached("INSERT INTO flow_test_runs (key, test, at, by, caught) VALUES (?1, ?2, ?3, ?4, ?5)")?
        .execute(params![run.as_str(), test, order.at.millis(), order.by, to_json(caught)?])?;
    Ok(Ok(Reply::Done))
}

fn run_over(db: &Connection, order: &TestOrder, test: i64) -> rusqlite::Result<Answer> {
    let runs: usize = db
        .prepare_cached("SELECT count(*) FROM flow_test_ends WHERE test = ?1")?
        .query_row([test], |row| row.get(0))?;
    if runs >= RUNS {
        return Ok(refuse(&format!("a flow test holds at most {RUNS} runs")));
    }
    db.prepare_cached("INSERT INTO flow_test_ends (test, at, by) VALUES (?1, ?2, ?3)")?.execute(params![
        test,
        order.at.millis(),
        order.by
    ])?;
    Ok(Ok(Reply::Done))
}

fn end(db: &Connection, order: &TestOrder, test: i64, outcome: Option<&Outcome>) -> rusqlite::Result<Answer> {
    let outcome = outcome.map(to_json).transpose()?;
    db.prepare_cached(
        "UPDATE flow_tests SET ended = max(began, ?2), ended_by = ?3, outcome = ?4 WHERE no = ?1",
    )?
    .execute(params![test, order.at.millis(), order.by, outcome])?;
    Ok(Ok(Reply::Done))
}

fn refuse(why: &str) -> Answer {
    Err(Refused(why.to_owned()))
}
