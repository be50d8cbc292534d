//! What people find and do: written once, corrected with history, told to the engine, and ending alerts.
//!
//! The engine is told when the order comes in, the record is written in the commit that follows. Both ask
//! [`judge`], so that a record which arrives a second time is neither told nor written again.

use std::fmt::Write as _;
use std::sync::Arc;

use rusqlite::{Connection, OptionalExtension, params};

use super::{Answer, Refused, Reply};
use crate::alerts::{Act, AlertNo, Stage};
use crate::ledger::alerts::{self, Author, Touched};
use crate::ledger::record::{from_json, to_json, unexpected};
use crate::model::{Command, EventTime, Id, RecordKey, ServiceRecord, Work};

/// Photographs of one record.
pub const PHOTOS: usize = 6;
/// Largest photograph, bytes.
pub const PHOTO_BYTES: usize = 2 << 20;
/// Longest reason for a correction, characters.
const REASON: usize = 500;

/// Something done with a service record.
#[derive(Clone, Debug, PartialEq)]
pub struct ServiceOrder {
    /// When it was sent.
    pub at: EventTime,
    /// Who.
    pub by: String,
    /// The system that it is about.
    pub system: Id,
    /// The record.
    pub key: RecordKey,
    /// What is done with it.
    pub deed: ServiceDeed,
}

/// What is done with a service record.
#[derive(Clone, Debug, PartialEq)]
pub enum ServiceDeed {
    /// It is written. The same one again changes nothing.
    Record(Box<ServiceRecord>),
    /// It is written anew; the version before stays readable.
    Correct {
        /// The version that the writer has seen.
        replaces: u32,
        /// As it should be.
        record: Box<ServiceRecord>,
        /// Why.
        reason: String,
    },
    /// It should not have been written at all.
    Withdraw {
        /// The version that the writer has seen.
        replaces: u32,
        /// Why.
        reason: String,
    },
    /// A photograph is added. The same one again changes nothing.
    Photo(NewPhoto),
}

/// A photograph to keep.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NewPhoto {
    /// What its bytes are.
    pub kind: PhotoKind,
    /// A digest of the bytes.
    pub print: String,
    /// The bytes, without what says where it was taken.
    pub bytes: Arc<[u8]>,
}

/// Kinds of photograph.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PhotoKind {
    /// JPEG.
    Jpeg,
    /// PNG.
    Png,
    /// WebP.
    Webp,
}

impl PhotoKind {
    /// Its media type.
    pub const fn media_type(self) -> &'static str {
        match self {
            Self::Jpeg => "image/jpeg",
            Self::Png => "image/png",
            Self::Webp => "image/webp",
        }
    }

    /// The kind of that media type.
    pub fn named(media_type: &str) -> Option<Self> {
        [Self::Jpeg, Self::Png, Self::Webp].into_iter().find(|kind| kind.media_type() == media_type)
    }
}

/// One version of a record, as far as orders need it.
struct Version {
    no: u32,
    current: bool,
    withdrawn: bool,
    body: String,
    reason: String,
}

/// What an order comes to.
enum Judged {
    /// It changes something: this version is written, or this photograph, and the engine hears this.
    New { number: u32, told: Vec<Command> },
    /// It was carried out before.
    Repeated { number: u32 },
    /// It cannot be carried out.
    No(String),
}

/// What the engine of its system has to hear of `order`.
///
/// # Errors
/// The order cannot be carried out.
pub(in crate::ledger) fn news(
    db: &Connection,
    order: &ServiceOrder,
) -> rusqlite::Result<Result<Vec<Command>, Refused>> {
    Ok(match judge(db, order)? {
        Judged::New { told, .. } => Ok(told),
        Judged::Repeated { .. } => Ok(Vec::new()),
        Judged::No(why) => Err(Refused(why)),
    })
}

pub(super) fn write(
    db: &Connection,
    order: &ServiceOrder,
    touched: &mut Touched,
) -> rusqlite::Result<Answer> {
    let (number, told) = match judge(db, order)? {
        Judged::New { number, told } => (number, told),
        Judged::Repeated { number } => return Ok(Ok(Reply::Number(u64::from(number)))),
        Judged::No(why) => return Ok(Err(Refused(why))),
    };
    match &order.deed {
        ServiceDeed::Record(record) => version(db, order, number, (record, ""), false)?,
        ServiceDeed::Correct { record, reason, .. } => version(db, order, number, (record, reason), false)?,
        ServiceDeed::Withdraw { reason, .. } => {
            let body = versions(db, order)?.pop().map(|version| version.body).unwrap_or_default();
            version(db, order, number, (&from_json(0, &body)?, reason), true)?;
        }
        ServiceDeed::Photo(photo) => photograph(db, order, number, photo)?,
    }
    for command in &told {
        end_alerts(db, order, command, touched)?;
    }
    Ok(Ok(Reply::Number(u64::from(number))))
}

fn judge(db: &Connection, order: &ServiceOrder) -> rusqlite::Result<Judged> {
    if system_no(db, &order.system)?.is_none() {
        return Ok(Judged::No(format!("no system is called {}", order.system)));
    }
    let versions = versions(db, order)?;
    match &order.deed {
        ServiceDeed::Record(record) => judge_record(db, order, &versions, record),
        ServiceDeed::Correct { replaces, record, reason } => {
            let body = to_json(record)?;
            Ok(judge_change(&versions, *replaces, (&body, reason, false), |old| Ok(old.told_anew(record)))?)
        }
        ServiceDeed::Withdraw { replaces, reason } => {
            let body = versions.last().map(|last| last.body.clone()).unwrap_or_default();
            judge_change(&versions, *replaces, (&body, reason, true), |_| Ok(Vec::new()))
        }
        ServiceDeed::Photo(photo) => judge_photo(db, order, &versions, photo),
    }
}

fn judge_record(
    db: &Connection,
    order: &ServiceOrder,
    versions: &[Version],
    record: &ServiceRecord,
) -> rusqlite::Result<Judged> {
    let Some(first) = versions.first() else {
        // The same key under another system would be answered as if it were new.
        let taken = db
            .prepare_cached("SELECT 1 FROM services WHERE key = ?1 LIMIT 1")?
            .exists([order.key.as_str()])?;
        return Ok(if taken { key_taken() } else { Judged::New { number: 1, told: record.told() } });
    };
    Ok(if first.body == to_json(record)? { Judged::Repeated { number: 1 } } else { key_taken() })
}

fn key_taken() -> Judged {
    Judged::No("another record has this key already: make a new key for a new record".to_owned())
}

fn judge_change(
    versions: &[Version],
    replaces: u32,
    (body, reason, withdrawn): (&str, &str, bool),
    told: impl FnOnce(&ServiceRecord) -> rusqlite::Result<Vec<Command>>,
) -> rusqlite::Result<Judged> {
    let next = replaces + 1;
    if let Some(there) = versions.iter().find(|version| version.no == next)
        && (there.body.as_str(), there.reason.as_str(), there.withdrawn) == (body, reason.trim(), withdrawn)
    {
        return Ok(Judged::Repeated { number: next });
    }
    let Some(current) = versions.iter().find(|version| version.current) else {
        return Ok(Judged::No("there is no such record".to_owned()));
    };
    let length = reason.trim().chars().count();
    Ok(if current.withdrawn {
        Judged::No("this record was withdrawn: write a new one".to_owned())
    } else if current.no != replaces {
        Judged::No("somebody corrected this record meanwhile: load it again".to_owned())
    } else if length == 0 {
        Judged::No("say in a few words why the record is changed".to_owned())
    } else if length > REASON {
        Judged::No(format!("the reason has more than {REASON} characters: shorten it"))
    } else {
        Judged::New { number: next, told: told(&from_json(0, &current.body)?)? }
    })
}

fn judge_photo(
    db: &Connection,
    order: &ServiceOrder,
    versions: &[Version],
    photo: &NewPhoto,
) -> rusqlite::Result<Judged> {
    let Some(current) = versions.iter().find(|version| version.current) else {
        return Ok(Judged::No("write the record before its photographs".to_owned()));
    };
    if current.withdrawn {
        return Ok(Judged::No("this record was withdrawn: write a new one".to_owned()));
    }
    let known = db
        .prepare_cached("SELECT no FROM service_photos WHERE key = ?1 AND print = ?2")?
        .query_row(params![order.key.as_str(), photo.print], |row| row.get(0))
        .optional()?;
    if let Some(number) = known {
        return Ok(Judged::Repeated { number });
    }
    let count: usize = db
        .prepare_cached("SELECT count(*) FROM service_photos WHERE key = ?1")?
        .query_row([order.key.as_str()], |row| row.get(0))?;
    Ok(if count >= PHOTOS {
        Judged::No(format!("a record holds at most {PHOTOS} photographs"))
    } else if photo.bytes.len() > PHOTO_BYTES {
        Judged::No("a photograph has at most 2 MiB: make it smaller".to_owned())
    } else {
        Judged::New { number: count as u32 + 1, told: Vec::new() }
    })
}

/// Every version of the record in its system, oldest first.
fn versions(db: &Connection, order: &ServiceOrder) -> rusqlite::Result<Vec<Version>> {
    let mut query = db.prepare_cached(
        "SELECT version, current, withdrawn, body, reason FROM services
         WHERE key = ?1 AND system = (SELECT no FROM systems WHERE id = ?2) ORDER BY version",
    )?;
    let rows = query.query_map([order.key.as_str(), order.system.as_str()], |row| {
        Ok(Version {
            no: row.get(0)?,
            current: row.get(1)?,
            withdrawn: row.get(2)?,
            body: row.get(3)?,
            reason: row.get(4)?,
        })
    })?;
    rows.collect()
}

fn version(
    db: &Connection,
    order: &ServiceOrder,
    number: u32,
    (record, reason): (&ServiceRecord, &str),
    withdrawn: bool,
) -> rusqlite::Result<()> {
    db.prepare_cached("UPDATE services SET current = 0 WHERE key = ?1")?.execute([order.key.as_str()])?;
    db.prepare_cached(
        "INSERT INTO services (key, version, current, withdrawn, system, subject, at, written_at, by, reason, body)
         VALUES (?1, ?2, 1, ?3, (SELECT no FROM systems WHERE id = ?4), ?5, ?6, ?7, ?8, ?9, ?10)",
    )?
    .execute(params![
        order.key.as_str(),
        number,
        withdrawn,
        order.system.as_str(),
        record.subject.key(),
        record.at.millis(),
        order.at.millis(),
        order.by,
        reason.trim(),
        to_json(record)?,
    ])?;
    let no = db.last_insert_rowid();
    let mut work =
        db.prepare_cached("INSERT INTO service_work (service, work) VALUES (?1, ?2) ON CONFLICT DO NOTHING")?;
    for done in &record.work {
        work.execute(params![no, done.name()])?;
    }
    Ok(())
}

fn photograph(db: &Connection, order: &ServiceOrder, number: u32, photo: &NewPhoto) -> rusqlite::Result<()> {
    db.prepare_cached(
        "INSERT INTO service_photos (key, no, kind, print, added_at, by, bytes) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
    )?
    .execute(params![
        order.key.as_str(),
        number,
        photo.kind.media_type(),
        photo.print,
        order.at.millis(),
        order.by,
        &photo.bytes[..],
    ])?;
    Ok(())
}

/// Closes the alerts that the work of `command` ends. Where the engine closed one already because its finding
/// cleared, who did the work is noted in its history.
fn end_alerts(
    db: &Connection,
    order: &ServiceOrder,
    command: &Command,
    touched: &mut Touched,
) -> rusqlite::Result<()> {
    let Command::Serviced(service) = command else { return Ok(()) };
    let author = Author { at: order.at, by: Some(&order.by) };
    for (kind, subject) in service.work.iter().flat_map(|work| work.ends(&service.subject)) {
        let newest = db
            .prepare_cached(
                "SELECT no FROM alerts WHERE system = (SELECT no FROM systems WHERE id = ?1) AND kind = ?2
                 AND subject = ?3 AND opened_at <= ?4 ORDER BY no DESC LIMIT 1",
            )?
            .query_row(
                params![order.system.as_str(), kind.name(), subject.key(), service.at.millis()],
                |row| row.get(0).map(AlertNo),
            )
            .optional()?;
        let Some(alert) = newest else { continue };
        let stage = alerts::find(db, alert)?.ok_or_else(|| unexpected(0))?.stage;
        let reason = reason(&service.work);
        let act = match stage {
            Stage::Closed { at, .. } if at < service.at => continue,
            Stage::Closed { .. } => Act::Note { text: reason },
            Stage::Open { .. } | Stage::Acknowledged { .. } | Stage::Snoozed { .. } => Act::Close { reason },
        };
        if alerts::act(db, alert, author, &act, touched)?.is_ok() {
            db.prepare_cached(
                "INSERT INTO service_alerts (key, alert) VALUES (?1, ?2) ON CONFLICT DO NOTHING",
            )?
            .execute(params![order.key.as_str(), alert.0])?;
        }
    }
    Ok(())
}

/// `serviced: outlet cleared, mulch renewed`
fn reason(work: &[Work]) -> String {
    let mut says = "serviced: ".to_owned();
    for (at, work) in work.iter().enumerate() {
        let _ = write!(says, "{}{}", if at == 0 { "" } else { ", " }, work.words());
    }
    says
}

fn system_no(db: &Connection, system: &Id) -> rusqlite::Result<Option<u32>> {
    db.prepare_cached("SELECT no FROM systems WHERE id = ?1")?
        .query_row([system.as_str()], |row| row.get(0))
        .optional()
}
