//! Service records: what was found and done, with every correction.

use std::collections::BTreeMap;

use rusqlite::{OptionalExtension, Row, params};

use super::View;
use super::names::{self, Names};
use crate::alerts::AlertNo;
use crate::ledger::LedgerFault;
use crate::ledger::orders::PhotoKind;
use crate::ledger::record::{from_json, unexpected, unreadable};
use crate::model::{EventTime, Id, RecordKey, ServiceRecord, Subject, Work};

/// One version of a record.
#[derive(Clone, Debug, PartialEq)]
pub struct StoredService {
    /// Number of this version in the ledger; later ones have higher numbers.
    pub no: u64,
    /// The record's own name.
    pub key: RecordKey,
    /// Which version, from 1.
    pub version: u32,
    /// The system.
    pub system: Id,
    /// Who wrote this version.
    pub by: String,
    /// When.
    pub written_at: EventTime,
    /// Why, if it corrects or withdraws one.
    pub reason: String,
    /// The record should not have been written.
    pub withdrawn: bool,
    /// What it says.
    pub record: ServiceRecord,
    /// Photographs of the record.
    pub photos: u32,
}

/// One record with its past.
#[derive(Clone, Debug, PartialEq)]
pub struct ServiceStory {
    /// Its versions, oldest first; at least one.
    pub versions: Vec<StoredService>,
    /// Its photographs, in their order.
    pub photos: Vec<StoredPhoto>,
    /// Alerts that the work ended.
    pub ended: Vec<AlertNo>,
}

/// A photograph, without its bytes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StoredPhoto {
    /// Its number in the record, from 1.
    pub no: u32,
    /// What its bytes are.
    pub kind: PhotoKind,
    /// When it came.
    pub added_at: EventTime,
    /// Who sent it.
    pub by: String,
    /// How large it is.
    pub bytes: usize,
}

/// Which records to list.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct ServiceFilter {
    /// Of these systems only; of all without.
    pub systems: Option<Vec<Id>>,
    /// About this part only.
    pub subject: Option<Subject>,
    /// Of work at this time or later.
    pub from: Option<EventTime>,
    /// Of work before this time.
    pub to: Option<EventTime>,
    /// After this one in the list: when the work was, and the version's number.
    pub after: Option<(EventTime, u64)>,
    /// Withdrawn ones as well.
    pub withdrawn: bool,
}

/// When a part was worked on last.
#[derive(Clone, Debug, PartialEq)]
pub struct LastService {
    /// The system.
    pub system: Id,
    /// The part.
    pub subject: Subject,
    /// What was done; none for the last look at it, whatever was done.
    pub work: Option<Work>,
    /// When.
    pub at: EventTime,
    /// Who wrote it down.
    pub by: String,
    /// The record.
    pub key: RecordKey,
}

const COLUMNS: &str = "no, key, version, system, by, written_at, reason, withdrawn, body,
     (SELECT count(*) FROM service_photos p WHERE p.key = services.key)";

impl View {
    /// Records as they are now that `filter` lets through, the newest work first, at most `limit`.
    pub fn services(&self, filter: &ServiceFilter, limit: usize) -> Result<Vec<StoredService>, LedgerFault> {
        self.read("read service records", |db| {
            let names = self.names(db)?;
            let mut query = db.prepare_cached(&format!(
                "SELECT {COLUMNS} FROM services WHERE current = 1 AND at >= ?1 AND at < ?2
                 AND (at, no) < (?3, ?4) AND (?5 IS NULL OR subject = ?5) AND withdrawn <= ?6
                 AND (?7 IS NULL OR system IN (SELECT s.no FROM systems s, json_each(?7) j WHERE s.id = j.value))
                 ORDER BY at DESC, no DESC LIMIT ?8"
            ))?;
            let millis = |at: Option<EventTime>, without: i64| at.map_or(without, EventTime::millis);
            let after = filter.after.map_or((i64::MAX, i64::MAX), |(at, no)| (at.millis(), no as i64));
            let systems = filter.systems.as_ref().map(|systems| {
                serde_json::to_string(systems).expect("ids are text")
            });
            let rows = query.query_map(
                params![
                    millis(filter.from, i64::MIN),
                    millis(filter.to, i64::MAX),
                    after.0,
                    after.1,
                    filter.subject.as_ref().map(Subject::key),
                    filter.withdrawn,
                    systems,
                    limit,
                ],
                |row| stored(row, &names),
            )?;
            rows.collect()
        })
    }

    /// A record with its versions and photographs; none if there is none of that key.
    pub fn service(&self, key: &RecordKey) -> Result<Option<ServiceStory>, LedgerFault> {
        self.read("read a service record", |db| {
            let names = self.names(db)?;
            let mut query = db
                .prepare_cached(&format!("SELECT {COLUMNS} FROM services WHERE key = ?1 ORDER BY version"))?;
            let versions: Vec<_> =
                query.query_map([key.as_str()], |row| stored(row, &names))?.collect::<Result<_, _>>()?;
            if versions.is_empty() {
                return Ok(None);
            }
            let mut query = db.prepare_cached(
                "SELECT no, kind, added_at, by, length(bytes) FROM service_photos WHERE key = ?1 ORDER BY no",
            )?;
            let photos = query.query_map([key.as_str()], photo)?.collect::<Result<_, _>>()?;
            let mut query =
                db.prepare_cached("SELECT alert FROM service_alerts WHERE key = ?1 ORDER BY alert")?;
            let ended =
                query.query_map([key.as_str()], |row| row.get(0).map(AlertNo))?.collect::<Result<_, _>>()?;
            Ok(Some(ServiceStory { versions, photos, ended }))
        })
    }

    /// One photograph of a record.
    pub fn service_photo(
        &self,
        key: &RecordKey,
        no: u32,
    ) -> Result<Option<(PhotoKind, Vec<u8>)>, LedgerFault> {
        self.read("read a photograph", |db| {
            let mut query =
                db.prepare_cached("SELECT kind, bytes FROM service_photos WHERE key = ?1 AND no = ?2")?;
            query.query_row(params![key.as_str(), no], |row| Ok((kind(row, 0)?, row.get(1)?))).optional()
        })
    }

    /// When each part of each system was worked on last, by kind of work, and when it was last looked at
    /// at all. Withdrawn records do not count.
    pub fn last_services(&self) -> Result<Vec<LastService>, LedgerFault> {
        self.read("read when work was done last", |db| {
            let names = self.names(db)?;
            // SQLite takes the other columns from the row that has the largest `at`.
            let mut query = db.prepare_cached(
                "SELECT system, body, work, max(at), by, key FROM services
                   JOIN service_work ON service = services.no
                   WHERE current = 1 AND withdrawn = 0 GROUP BY system, subject, work
                 UNION ALL
                 SELECT system, body, NULL, max(at), by, key FROM services
                   WHERE current = 1 AND withdrawn = 0 GROUP BY system, subject
                 ORDER BY 1, 3, 4",
            )?;
            let rows = query.query_map([], |row| {
                let record: ServiceRecord = from_json(1, row.get_ref(1)?.as_str()?)?;
                let work = row.get_ref(2)?.as_str_or_null()?;
                Ok(LastService {
                    system: names.system(row.get(0)?)?,
                    subject: record.subject,
                    work: work.map(|name| Work::named(name).ok_or_else(|| unexpected(2))).transpose()?,
                    at: EventTime::from_millis(row.get(3)?),
                    by: row.get(4)?,
                    key: key(row, 5)?,
                })
            })?;
            rows.collect()
        })
    }

    /// Alerts that the work of each record ended, by record.
    pub fn ended_by_services(&self, system: &Id) -> Result<BTreeMap<RecordKey, Vec<AlertNo>>, LedgerFault> {
        self.read("read which alerts work ended", |db| {
            let Some(no) = names::system_no(db, system)? else { return Ok(BTreeMap::new()) };
            let mut query = db.prepare_cached(
                "SELECT key, alert FROM service_alerts JOIN alerts ON alerts.no = alert WHERE system = ?1",
            )?;
            let mut ended: BTreeMap<RecordKey, Vec<AlertNo>> = BTreeMap::new();
            let mut rows = query.query([no])?;
            while let Some(row) = rows.next()? {
                ended.entry(key(row, 0)?).or_default().push(AlertNo(row.get(1)?));
            }
            Ok(ended)
        })
    }
}

fn stored(row: &Row<'_>, names: &Names) -> rusqlite::Result<StoredService> {
    Ok(StoredService {
        no: row.get(0)?,
        key: key(row, 1)?,
        version: row.get(2)?,
        system: names.system(row.get(3)?)?,
        by: row.get(4)?,
        written_at: EventTime::from_millis(row.get(5)?),
        reason: row.get(6)?,
        withdrawn: row.get(7)?,
        record: from_json(8, row.get_ref(8)?.as_str()?)?,
        photos: row.get(9)?,
    })
}

fn photo(row: &Row<'_>) -> rusqlite::Result<StoredPhoto> {
    Ok(StoredPhoto {
        no: row.get(0)?,
        kind: kind(row, 1)?,
        added_at: EventTime::from_millis(row.get(2)?),
        by: row.get(3)?,
        bytes: row.get(4)?,
    })
}

fn kind(row: &Row<'_>, column: usize) -> rusqlite::Result<PhotoKind> {
    PhotoKind::named(row.get_ref(column)?.as_str()?).ok_or_else(|| unexpected(column))
}

fn key(row: &Row<'_>, column: usize) -> rusqlite::Result<RecordKey> {
    RecordKey::new(row.get_ref(column)?.as_str()?).map_err(|error| unreadable(column, error))
}
