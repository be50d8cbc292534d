//! Opening the file as its only writer.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::time::Duration;

use rusqlite::config::DbConfig;
use rusqlite::{Connection, OpenFlags};

use super::commit::{Marks, Rows};
use super::enrol::{Enrolment, SystemNo};
use super::lock::FolderLock;
use super::{LedgerFault, View, journal, migrate, pack, seal};
use crate::model::Span;

/// Name of the database inside the data folder.
const NAME: &str = "ledger.db";

/// Pages that the write-ahead log may hold before a commit moves them into the database (16 MiB).
const CHECKPOINT_PAGES: u32 = 4000;

/// Most pages that SQLite gives a file (<https://www.sqlite.org/limits.html>, section 14).
const MOST_PAGES: u64 = 0xffff_fffe;

/// Tables that are checked before serving, all of them short beside the history. The rest is left to
/// [`View::check`](super::View::check).
const CHECKED_AT_START: [&str; 11] = [
    "sqlite_schema",
    "totals",
    "systems",
    "series",
    "latest",
    "snapshots",
    "findings",
    "horizons",
    "packing",
    "cursors",
    "unassigned",
];

/// The only writer of the ledger.
#[derive(Debug)]
pub struct Ledger {
    pub(super) db: Connection,
    pub(super) path: PathBuf,
    /// The last commit.
    pub(super) seq: u64,
    pub(super) enrolment: Enrolment,
    /// The journal was read, so that what it still holds for whom is known.
    pub(super) replayed: bool,
    /// The first commit that each system which is not watched for now has to go through once it is again.
    pub(super) held: BTreeMap<SystemNo, u64>,
    pub(super) marks: Marks,
    pub(super) rows: Rows,
    pub(super) packing: pack::Progress,
    /// How soon after its end an alert opens again rather than another one.
    pub(super) returns_within: Span,
    _lock: FolderLock,
}

impl Ledger {
    /// Opens the ledger in `folder`, or creates both.
    ///
    /// # Errors
    /// Another daemon uses the folder, the file is damaged, or it is of a newer program.
    pub fn open(folder: &Path) -> Result<Self, LedgerFault> {
        fs::create_dir_all(folder).map_err(|source| LedgerFault::File {
            doing: "create",
            path: folder.to_owned(),
            source,
        })?;
        let lock = FolderLock::take(folder)?;
        let path = database(folder);
        let fault = LedgerFault::while_doing("open the ledger", &path);
        let flags = OpenFlags::SQLITE_OPEN_READ_WRITE
            | OpenFlags::SQLITE_OPEN_CREATE
            | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        let mut db = Connection::open_with_flags(&path, flags).map_err(&fault)?;
        migrate::found(&db, &path, migrate::known())?;
        prepare(&db).map_err(&fault)?;
        migrate::migrate(&mut db, &path, migrate::STEPS)?;
        check(&db, &path, &CHECKED_AT_START)?;
        let seq = db.query_row("SELECT seq FROM totals", [], |row| row.get(0)).map_err(&fault)?;
        let packing = pack::Progress::load(&db).map_err(&fault)?;
        drop(fault);
        whole(&db, &path)?;
        Ok(Self {
            db,
            path,
            seq,
            enrolment: Enrolment::default(),
            replayed: false,
            held: BTreeMap::new(),
            marks: Marks::default(),
            rows: Rows::default(),
            packing,
            returns_within: Span::DAY,
            _lock: lock,
        })
    }

    /// A finding that is raised again within `span` of the end of its alert opens that alert again; a day unless
    /// this is called.
    pub fn let_alerts_return_within(&mut self, span: Span) {
        self.returns_within = span;
    }

    /// Lets the file grow to `bytes` and no further, or not at all if it is larger already. What does not fit is
    /// refused as by a full disk, and taken in once a larger bound is set.
    ///
    /// # Errors
    /// The file cannot be read.
    pub fn bound(&mut self, bytes: u64) -> Result<(), LedgerFault> {
        let set = || {
            let page: u64 = self.db.query_row("PRAGMA page_size", [], |row| row.get(0))?;
            let pages = (bytes / page).clamp(1, MOST_PAGES);
            self.db.query_row(&format!("PRAGMA max_page_count = {pages}"), [], |_| Ok(()))
        };
        set().map_err(LedgerFault::while_doing("bound the ledger", &self.path))
    }

    /// A reader of this ledger.
    ///
    /// # Errors
    /// The file cannot be read.
    pub fn view(&self) -> Result<View, LedgerFault> {
        View::open(self.path.parent().expect("the file lies in a folder"))
    }

    /// Number of the last commit, 0 before the first.
    pub fn last_commit(&self) -> u64 {
        self.seq
    }
}

/// Leaves everything in the one file, where nobody reads from it just now, so that a copy is whole and a file that
/// lost its end is known by its length.
impl Drop for Ledger {
    fn drop(&mut self) {
        // What stays in the log is found there at the next start.
        let _ = self.db.busy_timeout(Duration::from_millis(200));
        let _ = self.db.query_row("PRAGMA wal_checkpoint(TRUNCATE)", [], |_| Ok(()));
    }
}

/// Where the database of `folder` is.
pub(super) fn database(folder: &Path) -> PathBuf {
    folder.join(NAME)
}

fn prepare(db: &Connection) -> rusqlite::Result<()> {
    plan_once(db)?;
    seal::teach(db)?;
    db.set_prepared_statement_cache_capacity(64);
    db.busy_timeout(Duration::from_secs(5))?;
    db.pragma_update(None, "journal_mode", "WAL")?;
    // A commit is promised to outlast a power cut, because messages are acknowledged after it.
    db.pragma_update(None, "synchronous", "FULL")?;
    db.pragma_update(None, "wal_autocheckpoint", CHECKPOINT_PAGES)?;
    db.pragma_update(None, "journal_size_limit", 64 << 20)?;
    db.pragma_update(None, "cache_size", -(16 << 10))?;
    db.pragma_update(None, "temp_store", "MEMORY")
}

/// Lets a statement be planned when it is prepared and not again for each value that is bound to it: with those, a
/// bound `LIMIT` alone has SQLite compile the statement anew every time
/// (<https://www.sqlite.org/queryplanner-ng.html#qpstab>).
pub(super) fn plan_once(db: &Connection) -> rusqlite::Result<()> {
    db.set_db_config(DbConfig::SQLITE_DBCONFIG_ENABLE_QPSG, true).map(drop)
}

/// Whether the file is as long as it says. While the log holds pages, some may not have come to the file yet; then
/// the tables have to tell.
fn whole(db: &Connection, path: &Path) -> Result<(), LedgerFault> {
    let length = |path: &Path| fs::metadata(path).map_or(0, |file| file.len());
    if length(&path.with_extension("db-wal")) > 0 {
        return Ok(());
    }
    let says: u64 = db
        .query_row("SELECT page_count * page_size FROM pragma_page_count, pragma_page_size", [], |row| {
            row.get(0)
        })
        .map_err(LedgerFault::while_doing("check the ledger", path))?;
    let has = length(path);
    if has >= says {
        return Ok(());
    }
    let details = format!("{has} bytes are left of {says}");
    Err(LedgerFault::Damaged { path: path.to_owned(), details })
}

/// Looks through `tables` for broken pages and rows out of place.
fn check(db: &Connection, path: &Path, tables: &[&str]) -> Result<(), LedgerFault> {
    tables.iter().try_for_each(|table| quick_check(db, path, &format!("PRAGMA quick_check({table})")))
}

/// As [`check`], for the whole file.
pub(super) fn check_all(db: &Connection, path: &Path) -> Result<(), LedgerFault> {
    quick_check(db, path, "PRAGMA quick_check")
}

/// Looks for what does not agree with its checksum: packed readings, inputs in the journal, readings of an hour.
pub(super) fn check_sums(db: &Connection, path: &Path) -> Result<(), LedgerFault> {
    let fault = LedgerFault::while_doing("check the readings", path);
    pack::check(db).map_err(&fault)?;
    journal::check(db).map_err(&fault)?;
    let broken = seal::broken(db).map_err(&fault)?;
    broken.map_or(Ok(()), |details| Err(LedgerFault::Damaged { path: path.to_owned(), details }))
}

fn quick_check(db: &Connection, path: &Path, sql: &str) -> Result<(), LedgerFault> {
    let said: String = db
        .query_row(sql, [], |row| row.get(0))
        .map_err(LedgerFault::while_doing("check the ledger", path))?;
    if said == "ok" {
        return Ok(());
    }
    Err(LedgerFault::Damaged { path: path.to_owned(), details: said })
}
