//! Conclusions on their way into the log, and the findings that follow from them.
//!
//! The life of one finding, kept by (system, kind, subject):
//!
//! ```text
//!           raised               cleared
//!   (none) -------> open row ------------> closed row      updated: open -> open
//! ```
//!
//! The log keeps to this picture whatever an engine that lost its memory says: raising what is
//! open is an update, updating what is not open raises it, clearing what is not open is nothing.
//! A change that the log has already is not logged again.

use rusqlite::{Connection, OptionalExtension, params};

use crate::engine::{Change, Effect, FindingChange};
use crate::model::EventTime;

use super::alerts::{self, Touched};
use super::enrol::{Enrolment, SystemNo};
use super::record::{DoseRecord, ForecastRecord, SoakRecord, change_name, to_json};

/// Writes one conclusion.
pub(super) fn write(
    db: &Connection,
    enrolment: &Enrolment,
    system: SystemNo,
    effect: &Effect,
    touched: &mut Touched,
) -> rusqlite::Result<()> {
    match (effect, enrolment.get(system)) {
        // Also of a system that is no longer watched: what stands open there is to be cleared.
        (Effect::Finding(change), _) => finding(db, system, change, touched),
        (_, None) => Ok(()),
        (Effect::Dose(dose), Some(enrolled)) => {
            let body = to_json(&DoseRecord::of(dose, enrolled))?;
            log(db, system, &Entry { kind: "dose", at: dose.at, once: "", change: None, body: &body })
        }
        (Effect::Soak(soak), Some(enrolled)) => {
            let Some(record) = SoakRecord::of(soak, enrolled) else { return Ok(()) };
            let (once, body) = (record.basin.as_str(), to_json(&record)?);
            log(db, system, &Entry { kind: "soak", at: soak.began, once, change: None, body: &body })
        }
        (Effect::Forecast(made), Some(enrolled)) => {
            let Some(record) = ForecastRecord::of(made, enrolled) else { return Ok(()) };
            forecast(db, system, &record)
        }
    }
}

/// Keeps a forecast beside those made before it.
fn forecast(db: &Connection, system: SystemNo, record: &ForecastRecord) -> rusqlite::Result<()> {
    let mut insert = db.prepare_cached(
        "INSERT INTO forecasts (system, basin, made, body) VALUES (?1, ?2, ?3, ?4) ON CONFLICT DO NOTHING",
    )?;
    insert.execute(params![system.0, record.basin.as_str(), record.made.millis(), to_json(record)?])?;
    Ok(())
}

struct Entry<'a> {
    kind: &'static str,
    at: EventTime,
    once: &'a str,
    change: Option<Change>,
    body: &'a str,
}

/// Logs `entry` unless the log has it.
fn log(db: &Connection, system: SystemNo, entry: &Entry<'_>) -> rusqlite::Result<()> {
    let mut insert = db.prepare_cached(
        "INSERT INTO effects (system, kind, at, once, change, body) VALUES (?1, ?2, ?3, ?4, ?5, ?6)
         ON CONFLICT DO NOTHING",
    )?;
    let change = entry.change.map(change_name);
    insert.execute(params![system.0, entry.kind, entry.at.millis(), entry.once, change, entry.body])?;
    Ok(())
}

fn is_logged(db: &Connection, system: SystemNo, at: EventTime, once: &str) -> rusqlite::Result<bool> {
    db.prepare_cached(
        "SELECT 1 FROM effects WHERE system = ?1 AND kind = 'finding' AND at = ?2 AND once = ?3",
    )?
    .exists(params![system.0, at.millis(), once])
}

/// Where a finding is kept: who, what, where, and its latest state as JSON.
struct Row<'a> {
    system: SystemNo,
    kind: &'static str,
    subject: &'a str,
    at: EventTime,
    body: &'a str,
}

fn finding(
    db: &Connection,
    system: SystemNo,
    change: &FindingChange,
    touched: &mut Touched,
) -> rusqlite::Result<()> {
    let (at, finding) = (change.at, &change.finding);
    let (subject, body) = (finding.subject.key(), to_json(finding)?);
    let row = Row { system, kind: finding.kind.name(), subject: &subject, at, body: &body };
    let open = is_open(db, &row)?;
    let (change, logged) = match (change.change, open) {
        (Change::Raised, open) => {
            let logged = is_logged(db, system, at, &once(Change::Raised, &row))?;
            (if open { Change::Updated } else { Change::Raised }, logged)
        }
        (Change::Updated, false) => (Change::Raised, false),
        (Change::Cleared, false) => return Ok(()),
        (change @ (Change::Updated | Change::Cleared), true) => (change, false),
    };
    match change {
        Change::Raised => raise(db, &row)?,
        Change::Updated => update(db, &row, None)?,
        Change::Cleared => update(db, &row, Some(at))?,
    }
    alerts::follow(db, system, change, at, (finding, &body), touched)?;
    if logged {
        return Ok(());
    }
    let mut once = once(change, &row);
    if change == Change::Updated {
        // Two steps may be crossed at one instant.
        once = format!("{once} {} {}", finding.severity.name(), finding.probability);
    }
    log(db, system, &Entry { kind: "finding", at, once: &once, change: Some(change), body: &body })
}

fn once(change: Change, row: &Row<'_>) -> String {
    format!("{} {} {}", row.kind, row.subject, change_name(change))
}

fn is_open(db: &Connection, row: &Row<'_>) -> rusqlite::Result<bool> {
    let mut find = db.prepare_cached(
        "SELECT 1 FROM findings WHERE system = ?1 AND kind = ?2 AND subject = ?3 AND cleared_at IS NULL",
    )?;
    let found = find.query_row(params![row.system.0, row.kind, row.subject], |_| Ok(())).optional()?;
    Ok(found.is_some())
}

fn raise(db: &Connection, row: &Row<'_>) -> rusqlite::Result<()> {
    let mut insert = db.prepare_cached(
        "INSERT INTO findings (system, kind, subject, raised_at, changed_at, body) VALUES (?1, ?2, ?3, ?4, ?4, ?5)
         ON CONFLICT (system, kind, subject, raised_at) DO UPDATE
         SET changed_at = excluded.changed_at, cleared_at = NULL, body = excluded.body",
    )?;
    insert.execute(params![row.system.0, row.kind, row.subject, row.at.millis(), row.body])?;
    Ok(())
}

fn update(db: &Connection, row: &Row<'_>, cleared_at: Option<EventTime>) -> rusqlite::Result<()> {
    let mut update = db.prepare_cached(
        "UPDATE findings SET changed_at = ?4, cleared_at = ?5, body = ?6
         WHERE system = ?1 AND kind = ?2 AND subject = ?3 AND cleared_at IS NULL",
    )?;
    let cleared_at = cleared_at.map(EventTime::millis);
    update.execute(params![row.system.0, row.kind, row.subject, row.at.millis(), cleared_at, row.body])?;
    Ok(())
}
