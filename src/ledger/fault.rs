//! What can go wrong with the ledger, and what to do about it.

use std::io;
use std::path::{Path, PathBuf};

use rusqlite::ErrorCode;
use rusqlite::ffi;

/// Why the ledger could not do what was asked.
#[derive(Debug, thiserror::Error)]
pub enum LedgerFault {
    /// The disk, a quota or a size limit leaves no room. Trying again later may work.
    #[error(
        "no room to {doing}: free some space on the disk; nothing is lost, and the ledger goes on by itself"
    )]
    Full {
        /// What was being done.
        doing: &'static str,
        /// What SQLite said.
        source: rusqlite::Error,
    },
    /// Another program holds the file for longer than we waited. Trying again later may work.
    #[error("another program keeps the ledger busy, so it was not possible to {doing}; close that program")]
    Busy {
        /// What was being done.
        doing: &'static str,
        /// What SQLite said.
        source: rusqlite::Error,
    },
    /// A newer program wrote the file.
    #[error(
        "{path} has format {found}, written by a newer version; this one knows formats up to {known}: \
         install the newer version, or restore a backup made before the upgrade"
    )]
    Newer {
        /// The file.
        path: PathBuf,
        /// Format of the file.
        found: u32,
        /// Newest format that this program knows.
        known: u32,
    },
    /// An older program wrote the file, and only the daemon may bring it up to date.
    #[error(
        "{path} has the older format {found} instead of {known}: start the daemon once to bring it up to date"
    )]
    Older {
        /// The file.
        path: PathBuf,
        /// Format of the file.
        found: u32,
        /// Format that this program reads.
        known: u32,
    },
    /// Another daemon works on the folder.
    #[error("{folder} is in use by another daemon{}: stop that one first, or use another folder",
        .holder.map(|pid| format!(" (process {pid})")).unwrap_or_default())]
    Locked {
        /// The folder.
        folder: PathBuf,
        /// Process that holds it, if it said so.
        holder: Option<u32>,
    },
    /// There is no ledger yet.
    #[error("there is no ledger at {path}: start the daemon once, or name another folder")]
    Absent {
        /// Where it should be.
        path: PathBuf,
    },
    /// A file that should be new is there already.
    #[error("{path} exists already: name another file, or remove this one")]
    Exists {
        /// The file.
        path: PathBuf,
    },
    /// The file belongs to another program.
    #[error("{path} is a database of another program: move it away, or use another folder")]
    Foreign {
        /// The file.
        path: PathBuf,
    },
    /// What the file says cannot be.
    #[error(
        "{path} is damaged ({details}): stop the daemon, keep a copy of the file, check the disk, and put the \
         newest backup in its place"
    )]
    Damaged {
        /// The file.
        path: PathBuf,
        /// What was found.
        details: String,
    },
    /// A file or folder could not be used.
    #[error("could not {doing} {path}: check that the folder exists and that this user may write there")]
    File {
        /// What was being done.
        doing: &'static str,
        /// The file or folder.
        path: PathBuf,
        /// Why not.
        source: io::Error,
    },
    /// Anything else that SQLite reported.
    #[error("could not {doing}")]
    Sqlite {
        /// What was being done.
        doing: &'static str,
        /// What SQLite said.
        source: rusqlite::Error,
    },
}

impl LedgerFault {
    /// Whether the same call may work later without anybody touching the ledger.
    pub fn may_pass(&self) -> bool {
        matches!(self, Self::Full { .. } | Self::Busy { .. })
    }

    /// Turns an error of SQLite on the file at `path` into a fault, for `map_err`.
    pub(super) fn while_doing(doing: &'static str, path: &Path) -> impl Fn(rusqlite::Error) -> Self {
        move |source| match kind(&source) {
            Kind::Full => Self::Full { doing, source },
            Kind::Busy => Self::Busy { doing, source },
            Kind::Damaged => Self::Damaged { path: path.to_owned(), details: source.to_string() },
            Kind::Other => Self::Sqlite { doing, source },
        }
    }
}

enum Kind {
    Full,
    Busy,
    Damaged,
    Other,
}

fn kind(error: &rusqlite::Error) -> Kind {
    // A stored value that cannot be read back is damage as much as a broken page.
    if matches!(error, rusqlite::Error::FromSqlConversionFailure(..)) {
        return Kind::Damaged;
    }
    let Some(code) = error.sqlite_error() else { return Kind::Other };
    if code.code == ErrorCode::DiskFull || NO_ROOM.contains(&code.extended_code) {
        return Kind::Full;
    }
    if matches!(code.code, ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) {
        return Kind::Busy;
    }
    if matches!(code.code, ErrorCode::DatabaseCorrupt | ErrorCode::NotADatabase) {
        return Kind::Damaged;
    }
    Kind::Other
}

/// How a quota, a file-size limit or a failing disk shows; `ENOSPC` alone is `SQLITE_FULL`.
const NO_ROOM: [i32; 4] =
    [ffi::SQLITE_IOERR_WRITE, ffi::SQLITE_IOERR_FSYNC, ffi::SQLITE_IOERR_TRUNCATE, ffi::SQLITE_IOERR_SHMSIZE];
