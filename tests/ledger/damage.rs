//! Bits that flip in what is not packed yet: the check finds them, upkeep does not bury them, a backup is refused.

use std::path::Path;

use basinward::ledger::{Batch, Ledger, LedgerFault, RetentionPolicy, View, backup};
use rusqlite::{Connection, params};
use tempfile::TempDir;

use crate::yard::{PROBE, minute, system, take};

/// Ten days of a probe, of which six are packed; the last hour is not rolled up.
fn write(folder: &Path) -> Ledger {
    let mut ledger = Ledger::open(folder).unwrap();
    let no = ledger.enrol([&system("east", &["quince"])]).unwrap()[0];
    let mut batch = Batch::default();
    for i in 0..10 * 288 {
        take(&mut batch, no, PROBE, minute(i * 5), (i % 100) as f64 / 1000.0);
    }
    ledger.commit(&batch).unwrap();
    retain(&mut ledger, 10);
    ledger
}

fn retain(ledger: &mut Ledger, days: i64) {
    while ledger.retain(minute(days * 1440), &RetentionPolicy::default()).unwrap().more {}
}

fn told(folder: &Path) -> Option<String> {
    match View::open(folder).unwrap().check() {
        Ok(()) => None,
        Err(fault @ LedgerFault::Damaged { .. }) => Some(fault.to_string()),
        Err(fault) => panic!("{fault:?}"),
    }
}

/// Time and value of a reading of the ninth day.
fn reading(db: &Connection, no: i64) -> (i64, f64) {
    let at = minute(8 * 1440 + no * 5).millis();
    let value = db.query_row("SELECT value FROM readings WHERE at = ?1", [at], |row| row.get(0));
    (at, value.unwrap())
}

#[test]
fn every_flipped_bit_of_a_reading_that_was_rolled_up_is_found_and_named() {
    let folder = TempDir::new().unwrap();
    let _ledger = write(folder.path());
    let db = Connection::open(folder.path().join("ledger.db")).unwrap();
    assert_eq!(told(folder.path()), None);
    let (at, value) = reading(&db, 7);
    let set = |at: i64, to: (i64, f64)| {
        db.execute("UPDATE readings SET at = ?2, value = ?3 WHERE at = ?1", params![at, to.0, to.1]).unwrap();
    };
    for bit in 0..64 {
        let flipped = f64::from_bits(value.to_bits() ^ (1 << bit));
        if !flipped.is_nan() {
            set(at, (at, flipped));
            let told = told(folder.path()).unwrap_or_else(|| panic!("bit {bit} of the value"));
            assert!(told.contains("quince/moisture of east in the hour from"), "{told}");
            set(at, (at, value));
        }
        let moved = at ^ (1 << bit);
        set(at, (moved, value));
        assert!(told(folder.path()).is_some(), "bit {bit} of the time");
        set(moved, (at, value));
    }
    db.execute("DELETE FROM readings WHERE at = ?1", [at]).unwrap();
    assert!(told(folder.path()).is_some(), "a reading that is lost");
    db.execute(
        "INSERT INTO readings SELECT no, ?1, ?2 FROM series WHERE sensor = 'quince/moisture'",
        params![at, value],
    )
    .unwrap();
    assert_eq!(told(folder.path()), None);
}

#[test]
fn changed_readings_are_not_packed_as_if_they_were_whole_and_no_backup_is_made_of_them() {
    let folder = TempDir::new().unwrap();
    let mut ledger = write(folder.path());
    let db = Connection::open(folder.path().join("ledger.db")).unwrap();
    let (at, value) = reading(&db, 7);
    let set = |to: f64| {
        db.execute("UPDATE readings SET value = ?2 WHERE at = ?1", params![at, to]).unwrap();
    };
    let lies_open = || {
        let open = "SELECT EXISTS (SELECT 1 FROM readings WHERE at = ?1)";
        db.query_row(open, [at], |row| row.get::<_, bool>(0)).unwrap()
    };
    set(value + 1.0);
    retain(&mut ledger, 60);
    assert!(lies_open() && told(folder.path()).is_some());
    let copy = folder.path().join("copy.db");
    assert!(matches!(backup(folder.path(), &copy), Err(LedgerFault::Damaged { .. })) && !copy.exists());
    set(value);
    retain(&mut ledger, 62);
    assert!(!lies_open(), "once it is whole again, it is packed");
    assert_eq!(told(folder.path()), None);
    backup(folder.path(), &copy).unwrap();
}

#[test]
fn every_flipped_bit_of_the_journal_is_found_before_an_engine_hears_of_it() {
    let folder = TempDir::new().unwrap();
    let mut ledger = Ledger::open(folder.path()).unwrap();
    let east = system("east", &["quince"]);
    let no = ledger.enrol([&east]).unwrap()[0];
    let mut batch = Batch::default();
    take(&mut batch, no, PROBE, minute(5), 0.314);
    take(&mut batch, no, PROBE, minute(10), 0.315);
    ledger.commit(&batch).unwrap();
    let db = Connection::open(folder.path().join("ledger.db")).unwrap();
    let whole: Vec<u8> = db.query_row("SELECT entries FROM journal", [], |row| row.get(0)).unwrap();
    for bit in 0..whole.len() * 8 {
        let mut hurt = whole.clone();
        hurt[bit / 8] ^= 1 << (bit % 8);
        db.execute("UPDATE journal SET entries = ?1", [hurt]).unwrap();
        let recovery = ledger.recover().unwrap();
        let heard = ledger.replay(&recovery, |entry| panic!("bit {bit}: {entry:?}"));
        assert!(matches!(heard, Err(LedgerFault::Damaged { .. })), "bit {bit}: {heard:?}");
        assert!(told(folder.path()).is_some(), "bit {bit}");
    }
    db.execute("UPDATE journal SET entries = ?1", [whole]).unwrap();
    assert_eq!(told(folder.path()), None);
}
