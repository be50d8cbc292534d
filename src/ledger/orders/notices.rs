//! What is to be told to whom, and what came of it.

use rusqlite::{Connection, params};

use super::{Answer, Refused, Reply};
use crate::alerts::{AlertNo, Why};
use crate::model::EventTime;

/// Something about messages.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum NoticeOrder {
    /// Tell people. From now on they count as told: the messages go out until they are confirmed or given up.
    Tell {
        /// When.
        at: EventTime,
        /// What to whom.
        notices: Vec<NewNotice>,
        /// Endings of which somebody need not be told.
        let_rest: Vec<(AlertNo, String)>,
    },
    /// A delivery was tried.
    Tried {
        /// When it ended.
        at: EventTime,
        /// The delivery's number.
        delivery: u64,
        /// What came of it.
        outcome: Outcome,
    },
}

/// Something to tell one contact.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NewNotice {
    /// Who.
    pub recipient: String,
    /// Why.
    pub why: Why,
    /// By which channels.
    pub channels: Vec<String>,
    /// Alerts, and the call of each, that this tells of.
    pub tells: Vec<(AlertNo, u32)>,
    /// Alerts that this says are over.
    pub over: Vec<AlertNo>,
    /// What messages are written from, as JSON.
    pub body: String,
}

/// What came of a delivery.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// The other side has it.
    Confirmed,
    /// It has to be tried again.
    Failed {
        /// Why, in words.
        trouble: String,
        /// When.
        next_at: EventTime,
    },
    /// It is given up.
    Dead {
        /// Why, in words.
        trouble: String,
    },
}

pub(super) fn write(db: &Connection, order: &NoticeOrder) -> rusqlite::Result<Answer> {
    match order {
        NoticeOrder::Tell { at, notices, let_rest } => {
            for notice in notices {
                tell(db, *at, notice)?;
            }
            for (alert, recipient) in let_rest {
                end(db, *alert, recipient)?;
            }
            Ok(Ok(Reply::Done))
        }
        NoticeOrder::Tried { at, delivery, outcome } => tried(db, *at, *delivery, outcome),
    }
}

fn tell(db: &Connection, at: EventTime, notice: &NewNotice) -> rusqlite::Result<()> {
    db.prepare_cached("INSERT INTO notices (at, recipient, why, body) VALUES (?1, ?2, ?3, ?4)")?
        .execute(params![at.millis(), notice.recipient, notice.why.name(), notice.body])?;
    let no = db.last_insert_rowid();
    let mut deliver = db.prepare_cached(
        "INSERT INTO deliveries (notice, channel, state, tries, next_at) VALUES (?1, ?2, 'waiting', 0, ?3)
         ON CONFLICT DO NOTHING",
    )?;
    for channel in &notice.channels {
        deliver.execute(params![no, channel, at.millis()])?;
    }
    let mut mention = db
        .prepare_cached("INSERT INTO notice_alerts (alert, notice) VALUES (?1, ?2) ON CONFLICT DO NOTHING")?;
    let at_once = notice.why != Why::Digest;
    for (alert, calls) in &notice.tells {
        mention.execute(params![alert.0, no])?;
        know(db, at, (*alert, *calls), &notice.recipient, (at_once, false))?;
        // Whoever knows of a cause knows of its consequences, should they outlive it, and need not hear of their end.
        let mut folded = db.prepare_cached("SELECT no, calls FROM alerts WHERE under = ?1")?;
        let folded: Vec<(u64, u32)> =
            folded.query_map([alert.0], |row| Ok((row.get(0)?, row.get(1)?)))?.collect::<Result<_, _>>()?;
        for (consequence, calls) in folded {
            know(db, at, (AlertNo(consequence), calls), &notice.recipient, (at_once, true))?;
        }
    }
    for alert in &notice.over {
        mention.execute(params![alert.0, no])?;
        end(db, *alert, &notice.recipient)?;
    }
    Ok(())
}

fn know(
    db: &Connection,
    at: EventTime,
    (alert, calls): (AlertNo, u32),
    recipient: &str,
    (at_once, over): (bool, bool),
) -> rusqlite::Result<()> {
    db.prepare_cached(
        "INSERT INTO told (alert, recipient, first_at, last_at, calls, at_once, over) VALUES (?1, ?2, ?3, ?3, ?4, ?5, ?6)
         ON CONFLICT (alert, recipient) DO UPDATE
         SET first_at = iif(calls = excluded.calls AND at_once >= excluded.at_once, first_at, excluded.first_at),
             last_at = excluded.last_at, calls = excluded.calls, at_once = max(at_once, excluded.at_once), over = min(over, excluded.over)",
    )?
    .execute(params![alert.0, recipient, at.millis(), calls, at_once, over])?;
    Ok(())
}

fn end(db: &Connection, alert: AlertNo, recipient: &str) -> rusqlite::Result<()> {
    db.prepare_cached("UPDATE told SET over = 1 WHERE alert = ?1 AND recipient = ?2")?
        .execute(params![alert.0, recipient])?;
    Ok(())
}

fn tried(db: &Connection, at: EventTime, delivery: u64, outcome: &Outcome) -> rusqlite::Result<Answer> {
    let (state, next_at, trouble) = match outcome {
        Outcome::Confirmed => ("confirmed", at, None),
        Outcome::Failed { trouble, next_at } => ("waiting", *next_at, Some(trouble)),
        Outcome::Dead { trouble } => ("dead", at, Some(trouble)),
    };
    let settled_at = (state != "waiting").then_some(at.millis());
    let changed = db
        .prepare_cached(
            "UPDATE deliveries SET state = ?2, tries = tries + 1, next_at = ?3, settled_at = ?4,
             trouble = coalesce(?5, trouble) WHERE no = ?1 AND state = 'waiting'",
        )?
        .execute(params![delivery, state, next_at.millis(), settled_at, trouble])?;
    Ok(match changed {
        0 => Err(Refused(format!("delivery {delivery} is settled already"))),
        _ => Ok(Reply::Done),
    })
}
