//! Changes in who may come in, from the command line.
//!
//! The one exception to the one writer: whoever has lost every password must get in again without
//! stopping the daemon. It touches the tables of people only, of which the writer keeps nothing in mind.

use std::path::Path;
use std::time::Duration;

use rusqlite::{Connection, OpenFlags, TransactionBehavior};

use super::orders::{Answer, PeopleOrder, people};
use super::{Ledger, LedgerFault, file, migrate};

/// Carries out `order` in the ledger of `folder`, which is created if there is none; also while a daemon works on it.
///
/// # Errors
/// The ledger cannot be used.
pub fn order_people(folder: &Path, order: &PeopleOrder) -> Result<Answer, LedgerFault> {
    match Ledger::open(folder) {
        Ok(mut ledger) => carry_out(&mut ledger.db, &ledger.path, order),
        Err(LedgerFault::Locked { .. }) => {
            let path = file::database(folder);
            let mut db = beside_the_daemon(&path)?;
            carry_out(&mut db, &path, order)
        }
        Err(fault) => Err(fault),
    }
}

fn beside_the_daemon(path: &Path) -> Result<Connection, LedgerFault> {
    let fault = LedgerFault::while_doing("open the ledger", path);
    let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let db = Connection::open_with_flags(path, flags).map_err(&fault)?;
    db.busy_timeout(Duration::from_secs(10)).map_err(&fault)?;
    let known = migrate::known();
    let found = migrate::found(&db, path, known)?;
    if found < known {
        return Err(LedgerFault::Older { path: path.to_owned(), found, known });
    }
    Ok(db)
}

fn carry_out(db: &mut Connection, path: &Path, order: &PeopleOrder) -> Result<Answer, LedgerFault> {
    let mut write = || {
        let tx = db.transaction_with_behavior(TransactionBehavior::Immediate)?;
        let answer = people::write(&tx, order)?;
        if answer.is_ok() {
            tx.commit()?;
        }
        Ok(answer)
    };
    write().map_err(LedgerFault::while_doing("change who may come in", path))
}
