//! What people, and the passing of time, do with alerts.

use rusqlite::{Connection, OptionalExtension, params};

use super::{Answer, Refused, Reply};
use crate::alerts::{Act, AlertNo, LONGEST_MUTE, Refusal};
use crate::ledger::alerts::{self, Author, Touched};
use crate::model::{EventTime, Id};

/// Something that somebody does with alerts.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct AlertOrder {
    /// When.
    pub at: EventTime,
    /// Who: a person's name, none for the program.
    pub by: Option<String>,
    /// What.
    pub work: AlertWork,
}

/// What is done.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum AlertWork {
    /// A step with one alert. Acknowledging, snoozing and closing go for what is folded under it too.
    Step {
        /// The alert.
        alert: AlertNo,
        /// The step: `Acknowledge`, `Snooze`, `Close`, `Reopen`, `Note`, or `Wake` once its time is up.
        act: Act,
    },
    /// Somebody follows the link of a message, which works once.
    Follow {
        /// The link's own mark.
        pass: String,
        /// The alert that it acknowledges.
        alert: AlertNo,
    },
    /// Somebody is at work at a system: nobody is told of anything there.
    Mute(Muting),
    /// The work is done before its time.
    Unmute {
        /// The system.
        system: Id,
    },
}

/// Maintenance mode of one system. It ends by itself.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Muting {
    /// The system.
    pub system: Id,
    /// When it ends; at most 12 hours ahead.
    pub until: EventTime,
    /// What for.
    pub reason: String,
}

pub(super) fn write(db: &Connection, order: &AlertOrder, touched: &mut Touched) -> rusqlite::Result<Answer> {
    let author = Author { at: order.at, by: order.by.as_deref() };
    match &order.work {
        AlertWork::Step { alert, act } => step(db, *alert, author, act, touched),
        AlertWork::Follow { pass, alert } => {
            let new = db
                .prepare_cached("INSERT INTO passes_used (pass, at) VALUES (?1, ?2) ON CONFLICT DO NOTHING")?
                .execute(params![pass, order.at.millis()])?;
            if new == 0 {
                return Ok(refuse("this link was used before: a link of a message works once"));
            }
            step(db, *alert, author, &Act::Acknowledge, touched)
        }
        AlertWork::Mute(muting) => mute(db, author, muting),
        AlertWork::Unmute { system } => {
            let Some(no) = system_no(db, system)? else {
                return Ok(refuse(format!("no system is called {system}")));
            };
            db.prepare_cached("UPDATE muted SET until = min(until, ?2) WHERE system = ?1")?
                .execute(params![no, order.at.millis()])?;
            Ok(Ok(Reply::Done))
        }
    }
}

fn step(
    db: &Connection,
    alert: AlertNo,
    author: Author<'_>,
    act: &Act,
    touched: &mut Touched,
) -> rusqlite::Result<Answer> {
    // What findings do comes from the engines alone.
    if matches!(act, Act::Raise { .. } | Act::Change { .. } | Act::Clear) {
        return Ok(refuse("only the engine can say that"));
    }
    Ok(match alerts::act(db, alert, author, act, touched)? {
        Ok(()) => Ok(Reply::Done),
        Err(refused) => Err(Refused(refused.to_string())),
    })
}

fn mute(db: &Connection, author: Author<'_>, muting: &Muting) -> rusqlite::Result<Answer> {
    let Muting { system, until, reason } = muting;
    let Some(no) = system_no(db, system)? else { return Ok(refuse(format!("no system is called {system}"))) };
    if *until <= author.at {
        return Ok(refuse(Refusal::Past(*until).to_string()));
    }
    if *until - author.at > LONGEST_MUTE {
        return Ok(refuse("a system can be muted for at most 12 hours: name an earlier time"));
    }
    db.prepare_cached(
        "INSERT INTO muted (system, since, until, by, reason) VALUES (?1, ?2, ?3, ?4, ?5) ON CONFLICT (system)
         DO UPDATE SET since = iif(until > excluded.since, since, excluded.since), until = excluded.until,
         by = excluded.by, reason = excluded.reason",
    )?
    .execute(params![no, author.at.millis(), until.millis(), author.by.unwrap_or_default(), reason.trim()])?;
    Ok(Ok(Reply::Done))
}

fn system_no(db: &Connection, system: &Id) -> rusqlite::Result<Option<u32>> {
    db.prepare_cached("SELECT no FROM systems WHERE id = ?1")?
        .query_row([system.as_str()], |row| row.get(0))
        .optional()
}

fn refuse(why: impl Into<String>) -> Answer {
    Err(Refused(why.into()))
}
