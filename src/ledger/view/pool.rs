//! A few read-only connections, shared.

use std::path::{Path, PathBuf};
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError, RwLock};

use rusqlite::{Connection, OpenFlags, Transaction, TransactionBehavior};

use super::names::Names;
use crate::ledger::{LedgerFault, file, migrate, seal};

/// Most connections at once; further readers wait for one.
const CONNECTIONS: usize = 8;

/// Reads the ledger. Cheap to clone; every call blocks while SQLite works.
#[derive(Clone, Debug)]
pub struct View {
    pool: Arc<Pool>,
}

#[derive(Debug)]
struct Pool {
    path: PathBuf,
    connections: Mutex<Connections>,
    freed: Condvar,
    names: RwLock<Arc<Names>>,
}

#[derive(Debug, Default)]
struct Connections {
    idle: Vec<Connection>,
    lent: usize,
}

/// A connection that goes back to the pool when dropped.
struct Lent<'p> {
    pool: &'p Pool,
    db: Option<Connection>,
}

impl View {
    /// Looks into the ledger in `folder`.
    ///
    /// # Errors
    /// There is none, it is not of this program, or of another format.
    pub fn open(folder: &Path) -> Result<Self, LedgerFault> {
        let path = file::database(folder);
        let db = connect(&path)?;
        let connections = Mutex::new(Connections { idle: vec![db], lent: 0 });
        let pool = Pool { path, connections, freed: Condvar::new(), names: RwLock::default() };
        Ok(Self { pool: Arc::new(pool) })
    }

    /// Looks through the whole file for broken pages, rows out of place, and what does not agree with its checksum:
    /// packed readings, the readings of an hour that was rolled up, inputs in the journal. Takes seconds a gigabyte
    /// where the file is in memory, longer from the disk.
    pub fn check(&self) -> Result<(), LedgerFault> {
        let lent = self.pool.lend()?;
        file::check_all(lent.db(), &self.pool.path)?;
        file::check_sums(lent.db(), &self.pool.path)
    }

    /// The file.
    pub(super) fn path(&self) -> &Path {
        &self.pool.path
    }

    /// Runs `query` on one state of the ledger.
    pub(super) fn read<T>(
        &self,
        doing: &'static str,
        query: impl FnOnce(&Transaction<'_>) -> rusqlite::Result<T>,
    ) -> Result<T, LedgerFault> {
        let mut lent = self.pool.lend()?;
        let read = |db: &mut Connection| query(&db.transaction_with_behavior(TransactionBehavior::Deferred)?);
        read(lent.db_mut()).map_err(LedgerFault::while_doing(doing, &self.pool.path))
    }

    /// Names of all systems and series that `db` has.
    pub(super) fn names(&self, db: &Connection) -> rusqlite::Result<Arc<Names>> {
        let known = Arc::clone(&self.pool.names.read().unwrap_or_else(PoisonError::into_inner));
        if known.is_complete(db)? {
            return Ok(known);
        }
        let mut names = self.pool.names.write().unwrap_or_else(PoisonError::into_inner);
        drop(known);
        Arc::make_mut(&mut names).complete(db)?;
        Ok(Arc::clone(&names))
    }
}

impl Pool {
    fn lend(&self) -> Result<Lent<'_>, LedgerFault> {
        let full = |c: &mut Connections| c.idle.is_empty() && c.lent >= CONNECTIONS;
        let mut connections =
            self.freed.wait_while(self.lock(), full).unwrap_or_else(PoisonError::into_inner);
        connections.lent += 1;
        let idle = connections.idle.pop();
        drop(connections);
        let mut lent = Lent { pool: self, db: idle };
        if lent.db.is_none() {
            lent.db = Some(connect(&self.path)?);
        }
        Ok(lent)
    }

    /// Nothing can panic half-way through a change of the counts, so a poisoned lock is a good one.
    fn lock(&self) -> MutexGuard<'_, Connections> {
        self.connections.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Lent<'_> {
    fn db(&self) -> &Connection {
        self.db.as_ref().expect("lent with a connection")
    }

    fn db_mut(&mut self) -> &mut Connection {
        self.db.as_mut().expect("lent with a connection")
    }
}

impl Drop for Lent<'_> {
    fn drop(&mut self) {
        let mut connections = self.pool.lock();
        connections.lent -= 1;
        connections.idle.extend(self.db.take());
        drop(connections);
        self.pool.freed.notify_one();
    }
}

/// A read-only connection to a ledger of the known format.
pub(in crate::ledger) fn connect(path: &Path) -> Result<Connection, LedgerFault> {
    if !path.exists() {
        return Err(LedgerFault::Absent { path: path.to_owned() });
    }
    let fault = LedgerFault::while_doing("open the ledger for reading", path);
    let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let db = Connection::open_with_flags(path, flags).map_err(&fault)?;
    db.busy_timeout(std::time::Duration::from_secs(5)).map_err(&fault)?;
    db.set_prepared_statement_cache_capacity(64);
    file::plan_once(&db).map_err(&fault)?;
    seal::teach(&db).map_err(&fault)?;
    let known = migrate::known();
    match migrate::found(&db, path, known)? {
        0 => Err(LedgerFault::Absent { path: path.to_owned() }),
        found if found < known => Err(LedgerFault::Older { path: path.to_owned(), found, known }),
        _ => Ok(db),
    }
}
