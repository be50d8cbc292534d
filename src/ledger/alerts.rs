//! Alerts as the writer keeps them: what the engines conclude moves them in the same transaction that
//! stores the conclusion, so nothing is lost in between.

use std::collections::{BTreeMap, BTreeSet};

use rusqlite::{Connection, OptionalExtension, Row, params};

use crate::alerts::{Act, AlertNo, Deed, Refusal, Stage, Standing, Taken, fold};
use crate::engine::Change;
use crate::model::{EventTime, Finding, Id, Severity, Span};

use super::enrol::{Enrolment, SystemNo};
use super::record::{from_json, to_json, unexpected};

/// The systems whose alerts changed in a commit, and when: their alerts are folded anew at its end.
#[derive(Debug)]
pub(super) struct Touched {
    systems: BTreeMap<SystemNo, EventTime>,
    /// How soon after its end an alert opens again rather than another one.
    returns_within: Span,
}

/// One alert as the writer needs it.
pub(super) struct Kept {
    pub(super) no: AlertNo,
    pub(super) system: SystemNo,
    pub(super) severity: Severity,
    pub(super) stage: Stage,
}

/// Who took a step, and when.
#[derive(Clone, Copy)]
pub(super) struct Author<'a> {
    pub(super) at: EventTime,
    /// A person's name, none for the program.
    pub(super) by: Option<&'a str>,
}

impl Touched {
    /// None yet.
    pub(super) fn none(returns_within: Span) -> Self {
        Self { systems: BTreeMap::new(), returns_within }
    }

    fn note(&mut self, system: SystemNo, at: EventTime) {
        let latest = self.systems.entry(system).or_insert(at);
        *latest = at.max(*latest);
    }
}

const COLUMNS: &str = "no, system, severity, stage";

fn kept(row: &Row<'_>) -> rusqlite::Result<Kept> {
    Ok(Kept {
        no: AlertNo(row.get(0)?),
        system: SystemNo(row.get(1)?),
        severity: Severity::named(row.get_ref(2)?.as_str()?).ok_or_else(|| unexpected(2))?,
        stage: from_json(3, row.get_ref(3)?.as_str()?)?,
    })
}

/// The alert of that number.
pub(super) fn find(db: &Connection, no: AlertNo) -> rusqlite::Result<Option<Kept>> {
    let mut query = db.prepare_cached(&format!("SELECT {COLUMNS} FROM alerts WHERE no = ?1"))?;
    query.query_row([no.0], kept).optional()
}

/// Follows a finding's change; `body` is the finding as JSON.
pub(super) fn follow(
    db: &Connection,
    system: SystemNo,
    change: Change,
    at: EventTime,
    (finding, body): (&Finding, &str),
    touched: &mut Touched,
) -> rusqlite::Result<()> {
    touched.note(system, at);
    let subject = finding.subject.key();
    let newest = db
        .prepare_cached(&format!(
            "SELECT {COLUMNS} FROM alerts WHERE system = ?1 AND kind = ?2 AND subject = ?3 ORDER BY no DESC LIMIT 1"
        ))?
        .query_row(params![system.0, finding.kind.name(), subject], kept)
        .optional()?;
    let Some(alert) = newest else {
        return match change {
            Change::Raised | Change::Updated => open(db, system, at, (finding, body)),
            Change::Cleared => Ok(()),
        };
    };
    let act = match change {
        Change::Raised => Act::Raise { returns_within: touched.returns_within },
        Change::Updated => Act::Change { from: alert.severity, to: finding.severity },
        Change::Cleared => Act::Clear,
    };
    let author = Author { at, by: None };
    match alert.stage.take(at, "", &act) {
        Ok(Taken::Anew) => return open(db, system, at, (finding, body)),
        Ok(Taken::Step(stage, deed)) => step(db, alert.no, author, &stage, &deed)?,
        Ok(Taken::Nothing) | Err(_) => {}
    }
    let mut update = db.prepare_cached(
        "UPDATE alerts SET severity = ?2, finding = ?3, changed_at = max(changed_at, ?4) WHERE no = ?1",
    )?;
    update.execute(params![alert.no.0, finding.severity.name(), body, at.millis()])?;
    Ok(())
}

fn open(
    db: &Connection,
    system: SystemNo,
    at: EventTime,
    (finding, body): (&Finding, &str),
) -> rusqlite::Result<()> {
    let stage = to_json(&Stage::Open { since: at })?;
    db.prepare_cached(
        "INSERT INTO alerts (system, kind, subject, severity, opened_at, changed_at, calls, stage, finding)
         VALUES (?1, ?2, ?3, ?4, ?5, ?5, 1, ?6, ?7)",
    )?
    .execute(params![
        system.0,
        finding.kind.name(),
        finding.subject.key(),
        finding.severity.name(),
        at.millis(),
        stage,
        body
    ])?;
    log(db, AlertNo(db.last_insert_rowid() as u64), Author { at, by: None }, &Deed::Opened)
}

/// What a person, or the passing of time, does to an alert, and to what is folded under it.
pub(super) fn act(
    db: &Connection,
    no: AlertNo,
    author: Author<'_>,
    act: &Act,
    touched: &mut Touched,
) -> rusqlite::Result<Result<(), Refused>> {
    let Some(alert) = find(db, no)? else { return Ok(Err(Refused::Unknown(no))) };
    touched.note(alert.system, author.at);
    match alert.stage.take(author.at, author.by.unwrap_or_default(), act) {
        Err(refusal) => return Ok(Err(Refused::Lifecycle(refusal))),
        Ok(Taken::Step(stage, deed)) => step(db, no, author, &stage, &deed)?,
        Ok(Taken::Nothing | Taken::Anew) => {}
    }
    if matches!(act, Act::Acknowledge | Act::Snooze { .. } | Act::Close { .. }) {
        for folded in under(db, no)? {
            // What cannot follow, such as one that is closed already, stays as it is.
            if let Ok(Taken::Step(stage, deed)) =
                folded.stage.take(author.at, author.by.unwrap_or_default(), act)
            {
                step(db, folded.no, author, &stage, &deed)?;
            }
        }
    }
    Ok(Ok(()))
}

/// Why a step was not taken.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub(super) enum Refused {
    /// No alert has that number.
    #[error("there is no alert {0}")]
    Unknown(AlertNo),
    /// Its stage does not allow it.
    #[error(transparent)]
    Lifecycle(#[from] Refusal),
}

fn under(db: &Connection, no: AlertNo) -> rusqlite::Result<Vec<Kept>> {
    let mut query = db.prepare_cached(&format!("SELECT {COLUMNS} FROM alerts WHERE under = ?1"))?;
    query.query_map([no.0], kept)?.collect()
}

/// Writes a step and where the alert stands after it.
fn step(
    db: &Connection,
    no: AlertNo,
    author: Author<'_>,
    stage: &Stage,
    deed: &Deed,
) -> rusqlite::Result<()> {
    let closed_at = match stage {
        Stage::Closed { at, .. } => Some(at.millis()),
        Stage::Open { .. } | Stage::Acknowledged { .. } | Stage::Snoozed { .. } => None,
    };
    db.prepare_cached(
        "UPDATE alerts SET stage = ?2, closed_at = ?3, calls = calls + ?4, changed_at = max(changed_at, ?5),
         under = iif(?3 IS NULL, under, NULL) WHERE no = ?1",
    )?
    .execute(params![no.0, to_json(stage)?, closed_at, deed.calls_anew(), author.at.millis()])?;
    log(db, no, author, deed)
}

fn log(db: &Connection, no: AlertNo, author: Author<'_>, deed: &Deed) -> rusqlite::Result<()> {
    db.prepare_cached("INSERT INTO alert_steps (alert, at, by, deed) VALUES (?1, ?2, ?3, ?4)")?
        .execute(params![no.0, author.at.millis(), author.by, to_json(deed)?])?;
    Ok(())
}

/// Finds out anew which alerts are consequences of others, in the properties that were touched.
pub(super) fn refold(db: &Connection, enrolment: &Enrolment, touched: &Touched) -> rusqlite::Result<()> {
    let mut done = BTreeSet::new();
    for (&system, &at) in &touched.systems {
        let neighbours = enrolment.neighbours(system);
        if neighbours.first().is_some_and(|first| done.insert(*first)) {
            refold_property(db, enrolment, neighbours, Author { at, by: None })?;
        }
    }
    Ok(())
}

/// One alert on its way to folding.
struct Candidate {
    no: AlertNo,
    system: Id,
    finding: Finding,
    opened_at: EventTime,
    under: Option<AlertNo>,
}

fn refold_property(
    db: &Connection,
    enrolment: &Enrolment,
    systems: &[SystemNo],
    author: Author<'_>,
) -> rusqlite::Result<()> {
    let mut query = db.prepare_cached(
        "SELECT no, finding, opened_at, under FROM alerts WHERE system = ?1 AND closed_at IS NULL ORDER BY no",
    )?;
    let mut rows = Vec::new();
    for no in systems {
        let Some(enrolled) = enrolment.get(*no) else { continue };
        let found = query.query_map([no.0], |row| {
            Ok(Candidate {
                no: AlertNo(row.get(0)?),
                system: enrolled.id.clone(),
                finding: from_json(1, row.get_ref(1)?.as_str()?)?,
                opened_at: EventTime::from_millis(row.get(2)?),
                under: row.get::<_, Option<u64>>(3)?.map(AlertNo),
            })
        })?;
        rows.extend(found.collect::<Result<Vec<_>, _>>()?);
    }
    let standing: Vec<_> = rows
        .iter()
        .map(|row| Standing {
            no: row.no,
            system: &row.system,
            kind: row.finding.kind,
            subject: &row.finding.subject,
            opened_at: row.opened_at,
        })
        .collect();
    let enrolled = systems.iter().filter_map(|no| enrolment.get(*no));
    let piping = enrolled.map(|system| (&system.id, &system.piping)).collect();
    let causes = fold(&standing, &piping);
    let mut set = db.prepare_cached("UPDATE alerts SET under = ?2 WHERE no = ?1")?;
    for row in &rows {
        let cause = causes.get(&row.no).copied();
        if cause == row.under {
            continue;
        }
        set.execute(params![row.no.0, cause.map(|cause| cause.0)])?;
        let deed = cause.map_or(Deed::Unfolded, |under| Deed::Folded { under });
        log(db, row.no, author, &deed)?;
    }
    Ok(())
}
