//! Formats of the file, and how an older one becomes the newest.

use std::path::Path;

use rusqlite::{Connection, TransactionBehavior};

use super::LedgerFault;

/// The step that leads to each format from the one before, the first from an empty file.
/// A published step never changes.
pub(super) const STEPS: &[&str] = &[
    include_str!("formats/1.sql"),
    include_str!("formats/2.sql"),
    include_str!("formats/3.sql"),
    include_str!("formats/4.sql"),
    include_str!("formats/5.sql"),
    include_str!("formats/6.sql"),
    include_str!("formats/7.sql"),
    include_str!("formats/8.sql"),
    include_str!("formats/9.sql"),
    include_str!("formats/10.sql"),
    include_str!("formats/11.sql"),
    include_str!("formats/12.sql"),
    include_str!("formats/13.sql"),
    include_str!("formats/14.sql"),
];

/// Marks a file as ours in its header ("Bawd" in ASCII).
const APPLICATION_ID: u32 = 0x4261_7764;

/// Newest format that this program knows.
pub(super) fn known() -> u32 {
    STEPS.len() as u32
}

/// The file's format, 0 if it is empty.
///
/// # Errors
/// It belongs to another program, or is newer than `known`.
pub(super) fn found(db: &Connection, path: &Path, known: u32) -> Result<u32, LedgerFault> {
    let read = |sql| db.query_row(sql, [], |row| row.get::<_, u32>(0));
    let fault = LedgerFault::while_doing("read the format of the ledger", path);
    let application = read("PRAGMA application_id").map_err(&fault)?;
    let format = read("PRAGMA user_version").map_err(&fault)?;
    let tables = read("SELECT count(*) FROM sqlite_schema").map_err(&fault)?;
    if application != APPLICATION_ID && (application, format, tables) != (0, 0, 0) {
        return Err(LedgerFault::Foreign { path: path.to_owned() });
    }
    if format > known {
        return Err(LedgerFault::Newer { path: path.to_owned(), found: format, known });
    }
    Ok(format)
}

/// Applies every step that is missing, each in a transaction of its own.
pub(super) fn migrate(db: &mut Connection, path: &Path, steps: &[&str]) -> Result<(), LedgerFault> {
    let from = found(db, path, steps.len() as u32)?;
    for (format, step) in (1u32..).zip(steps).skip(from as usize) {
        apply(db, format, step)
            .map_err(LedgerFault::while_doing("bring the ledger to the newest format", path))?;
    }
    Ok(())
}

fn apply(db: &mut Connection, format: u32, step: &str) -> rusqlite::Result<()> {
    let tx = db.transaction_with_behavior(TransactionBehavior::Immediate)?;
    tx.execute_batch(step)?;
    tx.pragma_update(None, "user_version", format)?;
    tx.commit()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn format_of(db: &Connection) -> u32 {
        db.query_row("PRAGMA user_version", [], |row| row.get(0)).unwrap()
    }

    #[test]
    fn missing_steps_are_applied_in_order_and_only_once() {
        let mut db = Connection::open_in_memory().unwrap();
        let path = Path::new("ledger.db");
        migrate(&mut db, path, STEPS).unwrap();
        db.execute("INSERT INTO systems (id) VALUES ('alder')", []).unwrap();
        let longer =
            [STEPS, &["ALTER TABLE systems ADD note TEXT", "UPDATE systems SET note = 'kept'"]].concat();
        migrate(&mut db, path, &longer).unwrap();
        migrate(&mut db, path, &longer).unwrap();
        let note: String = db.query_row("SELECT note FROM systems", [], |row| row.get(0)).unwrap();
        assert_eq!((note.as_str(), format_of(&db)), ("kept", known() + 2));
    }

    #[test]
    fn a_step_that_fails_leaves_the_old_format_whole() {
        let mut db = Connection::open_in_memory().unwrap();
        let path = Path::new("ledger.db");
        migrate(&mut db, path, STEPS).unwrap();
        let broken = [STEPS, &["CREATE TABLE half (a); INSERT INTO nowhere VALUES (1)"]].concat();
        assert!(migrate(&mut db, path, &broken).is_err());
        assert_eq!(format_of(&db), known());
        assert!(db.prepare("SELECT * FROM half").is_err());
    }
}
