//! A copy of the ledger while it is in use.

use std::ffi::OsString;
use std::fs::{self, File};
use std::io;
use std::path::{Path, PathBuf};
use std::time::Duration;

use rusqlite::Connection;
use rusqlite::backup::Backup;

use super::view::connect;
use super::{LedgerFault, file, seal};

/// Copies the ledger in `folder`, as it is at one moment, to the new file `to`, and checks the copy. The
/// daemon may go on writing meanwhile. To restore, stop the daemon and put the copy in the place of
/// `ledger.db`, without any `ledger.db-wal` beside it. Returns the size of the copy in bytes.
pub fn backup(folder: &Path, to: &Path) -> Result<u64, LedgerFault> {
    if to.exists() {
        return Err(LedgerFault::Exists { path: to.to_owned() });
    }
    let source = connect(&file::database(folder))?;
    let partial = beside(to, ".partial");
    let copied = copy(&source, &partial)
        .and_then(|()| publish(&partial, to).map_err(|source| file_fault("keep", to, source)));
    if copied.is_err() {
        // What is left of a failed copy must not be taken for one; that it failed is told already.
        for left in [partial.clone(), beside(&partial, "-journal")] {
            let _ = fs::remove_file(left);
        }
    }
    copied
}

fn copy(source: &Connection, partial: &Path) -> Result<(), LedgerFault> {
    let fault = LedgerFault::while_doing("write the backup", partial);
    // One left behind by a copy that was cut short would be added to.
    File::create(partial).map_err(|source| file_fault("write", partial, source))?;
    let mut target = Connection::open(partial).map_err(&fault)?;
    // All pages in one step are one state, and a writer does not make it begin again.
    Backup::new(source, &mut target)
        .and_then(|copy| copy.run_to_completion(i32::MAX, Duration::from_millis(20), None))
        .map_err(&fault)?;
    target.pragma_update(None, "journal_mode", "DELETE").map_err(&fault)?;
    let said: String = target.query_row("PRAGMA integrity_check", [], |row| row.get(0)).map_err(&fault)?;
    if said != "ok" {
        return Err(LedgerFault::Damaged { path: partial.to_owned(), details: said });
    }
    seal::teach(&target).map_err(&fault)?;
    file::check_sums(&target, partial)
}

/// Gives the finished copy its name, so that a file of that name is always a whole one.
fn publish(partial: &Path, to: &Path) -> io::Result<u64> {
    let file = File::open(partial)?;
    file.sync_all()?;
    fs::rename(partial, to)?;
    if let Some(folder) = to.parent().filter(|folder| !folder.as_os_str().is_empty()) {
        File::open(folder)?.sync_all()?;
    }
    Ok(file.metadata()?.len())
}

fn beside(path: &Path, ending: &str) -> PathBuf {
    let mut name = OsString::from(path);
    name.push(ending);
    name.into()
}

fn file_fault(doing: &'static str, path: &Path, source: io::Error) -> LedgerFault {
    LedgerFault::File { doing, path: path.to_owned(), source }
}
