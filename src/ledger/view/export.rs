//! For readers that pass everything on: how far they have come, and the readings of the past.

use rusqlite::{Connection, OptionalExtension, params};

use super::View;
use super::readings::{self, Latest};
use crate::ledger::{LedgerFault, RejectedLine, pack};
use crate::model::EventTime;

/// How far a reader that passes everything on has come.
#[derive(Clone, Debug, PartialEq)]
pub struct ExportPlace {
    /// The last commit whose readings it has; none before it began, or after it was forgotten.
    pub readings: Option<u64>,
    /// The last conclusion that it has.
    pub effects: u64,
    /// The last step of an alert that it has.
    pub alert_steps: u64,
    /// Where it is in the past; none when it has it all.
    pub past: Option<Past>,
}

/// A place in the readings of the past, which go series by series.
#[derive(Clone, Debug, PartialEq)]
pub struct Past {
    pub(in crate::ledger) series: u32,
    pub(in crate::ledger) at: i64,
    /// How much lies behind, by series, 0 to 1.
    pub done: f64,
}

/// Some readings of the past.
#[derive(Clone, Debug, PartialEq)]
pub struct PastReadings {
    /// By series and time.
    pub readings: Vec<Latest>,
    /// Where to go on; none when there is nothing more.
    pub next: Option<Past>,
}

impl View {
    /// How far the reader called `cursor` has come.
    pub fn export_place(&self, cursor: &str) -> Result<ExportPlace, LedgerFault> {
        self.read("read how far a reader outside has come", |db| {
            let mut reached = db.prepare_cached("SELECT seq FROM cursors WHERE name = ?1 AND stream = ?2")?;
            let mut reached = |stream| reached.query_row([cursor, stream], |row| row.get(0)).optional();
            let past = db
                .prepare_cached("SELECT series, at FROM backfills WHERE cursor = ?1")?
                .query_row([cursor], |row| Ok((row.get(0)?, row.get(1)?)))
                .optional()?;
            Ok(ExportPlace {
                readings: reached("readings")?,
                effects: reached("effects")?.unwrap_or(0),
                alert_steps: reached("alert-steps")?.unwrap_or(0),
                past: past.map(|(series, at)| place(db, series, at)).transpose()?,
            })
        })
    }

    /// The next readings after `past`, at most `limit`.
    pub fn past_readings(&self, past: &Past, limit: usize) -> Result<PastReadings, LedgerFault> {
        self.read("read the past", |db| {
            let names = self.names(db)?;
            let after = (past.series, past.at);
            let mut run = pack::run_after(db, after, limit)?;
            run.extend(loose_after(db, after, limit)?);
            run.sort_by_key(|(series, sample)| (*series, sample.at));
            run.truncate(limit);
            let last = run.last().filter(|_| run.len() == limit);
            let next = last.map(|(series, sample)| place(db, *series, sample.at)).transpose()?;
            let told = run.iter().map(|(series, sample)| {
                readings::reading(&names, *series, EventTime::from_millis(sample.at), sample.value)
            });
            let readings = told.collect::<Result<_, _>>()?;
            Ok(PastReadings { readings, next })
        })
    }

    /// What readers outside could not get across, newest first, at most 200.
    pub fn rejected_lines(&self) -> Result<Vec<RejectedLine>, LedgerFault> {
        self.read("read the rejected lines", |db| {
            let mut query = db.prepare_cached("SELECT at, line, why FROM rejected_lines ORDER BY no DESC")?;
            let lines = query.query_map([], |row| {
                let at = EventTime::from_millis(row.get(0)?);
                Ok(RejectedLine { at, line: row.get(1)?, why: row.get(2)? })
            })?;
            lines.collect()
        })
    }
}

/// The rows after the place (series, time), at most `limit`.
fn loose_after(
    db: &Connection,
    (series, at): (u32, i64),
    limit: usize,
) -> rusqlite::Result<Vec<(u32, pack::Sample)>> {
    db.prepare_cached(
        "SELECT series, at, value FROM readings WHERE (series, at) > (?1, ?2) ORDER BY series, at LIMIT ?3",
    )?
    .query_map(params![series, at, limit], |row| {
        Ok((row.get(0)?, pack::Sample { at: row.get(1)?, value: row.get(2)? }))
    })?
    .collect()
}

fn place(db: &Connection, series: u32, at: i64) -> rusqlite::Result<Past> {
    let (passed, all): (f64, f64) = db
        .prepare_cached(
            "SELECT cast(count(*) FILTER (WHERE no < ?1) AS REAL), cast(max(count(*), 1) AS REAL) FROM series",
        )?
        .query_row([series], |row| Ok((row.get(0)?, row.get(1)?)))?;
    Ok(Past { series, at, done: passed / all })
}
