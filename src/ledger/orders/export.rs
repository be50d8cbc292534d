//! How far a reader that passes everything on has come.
//!
//! Such a reader follows the commits from the one at which it began, and beside that works its way through the
//! readings that were there before, series by series. A reader that falls further behind than the journal waits for
//! it is forgotten (see `retention`), and begins anew.

use rusqlite::{Connection, params};

use super::{Answer, Refused, Reply};
use crate::ledger::{Past, Position, commit};
use crate::model::EventTime;

/// Lines kept that a reader could not get across.
const REJECTED_LINES: usize = 200;

/// One step of a reader that passes everything on.
#[derive(Clone, Debug, PartialEq)]
pub enum ExportStep {
    /// It begins: at this commit, with all of the past before it. Others of its kind are forgotten; its kind is the
    /// first word of its name.
    Begin,
    /// It has the readings of all commits up to this one.
    Readings(u64),
    /// It has the conclusions up to this one.
    Effects(u64),
    /// It has the steps of alerts up to this one.
    AlertSteps(u64),
    /// It has the readings of the past up to here; none when it has them all.
    Past(Option<Past>),
    /// It could not get these across and left them behind.
    Rejected(Vec<RejectedLine>),
}

/// Something that a server outside refuses for good.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RejectedLine {
    /// When.
    pub at: EventTime,
    /// What, in the server's form.
    pub line: String,
    /// Why, in the server's words.
    pub why: String,
}

pub(super) fn write(db: &Connection, cursor: &str, step: &ExportStep) -> rusqlite::Result<Answer> {
    match step {
        ExportStep::Begin => begin(db, cursor)?,
        ExportStep::Readings(seq) => {
            let mut known =
                db.prepare_cached("SELECT 1 FROM cursors WHERE name = ?1 AND stream = 'readings'")?;
            if !known.exists([cursor])? {
                let says = "it fell too far behind, and begins anew with all of the past";
                return Ok(Err(Refused(says.to_owned())));
            }
            commit::reach(db, cursor, Position::Readings(*seq))?;
        }
        ExportStep::Effects(seq) => commit::reach(db, cursor, Position::Effects(*seq))?,
        ExportStep::AlertSteps(no) => commit::reach(db, cursor, Position::AlertSteps(*no))?,
        ExportStep::Past(Some(past)) => {
            db.prepare_cached("UPDATE backfills SET series = ?2, at = ?3 WHERE cursor = ?1")?
                .execute(params![cursor, past.series, past.at])?;
        }
        ExportStep::Past(None) => {
            db.execute("DELETE FROM backfills WHERE cursor = ?1", [cursor])?;
        }
        ExportStep::Rejected(lines) => reject(db, cursor, lines)?,
    }
    Ok(Ok(Reply::Done))
}

fn begin(db: &Connection, cursor: &str) -> rusqlite::Result<()> {
    let kind = cursor.split(' ').next().unwrap_or(cursor);
    let others = "(?1 || ' ') = substr(name, 1, length(?1) + 1) AND name <> ?2";
    db.execute(&format!("DELETE FROM cursors WHERE {others}"), params![kind, cursor])?;
    let others = others.replace("name", "cursor");
    db.execute(&format!("DELETE FROM backfills WHERE {others}"), params![kind, cursor])?;
    let seq = db.query_row("SELECT seq FROM totals", [], |row| row.get(0))?;
    commit::reach(db, cursor, Position::Readings(seq))?;
    db.execute(
        "INSERT OR REPLACE INTO backfills (cursor, series, at) VALUES (?1, 0, ?2)",
        params![cursor, EventTime::MIN.millis()],
    )?;
    Ok(())
}

fn reject(db: &Connection, cursor: &str, lines: &[RejectedLine]) -> rusqlite::Result<()> {
    let mut keep =
        db.prepare_cached("INSERT INTO rejected_lines (at, cursor, line, why) VALUES (?1, ?2, ?3, ?4)")?;
    for line in lines {
        keep.execute(params![line.at.millis(), cursor, line.line, line.why])?;
    }
    db.prepare_cached("DELETE FROM rejected_lines WHERE no <= (SELECT max(no) FROM rejected_lines) - ?1")?
        .execute([REJECTED_LINES])?;
    Ok(())
}
