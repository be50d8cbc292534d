//! Copies made while the ledger is in use.

use std::fs;

use basinward::ledger::{Ledger, LedgerFault, View, backup};
use tempfile::TempDir;

use crate::child::{READINGS, Writer};

#[test]
fn a_backup_of_a_busy_ledger_is_one_whole_state_and_can_be_restored() {
    let folder = TempDir::new().unwrap();
    let mut writer = Writer::start(folder.path(), &[]);
    writer.hear_commit().expect("the writer goes on");
    for copy in 0..5 {
        let restored = TempDir::new().unwrap();
        let before = writer.hear_commit().expect("the writer goes on");
        let file = restored.path().join("ledger.db");
        let bytes = backup(folder.path(), &file).unwrap();
        assert_eq!(bytes, fs::metadata(&file).unwrap().len());
        let left: Vec<_> = fs::read_dir(restored.path()).unwrap().map(|f| f.unwrap().file_name()).collect();
        assert_eq!(left, ["ledger.db"], "one file, in copy {copy}");

        let ledger = Ledger::open(restored.path()).unwrap();
        let totals = View::open(restored.path()).unwrap().totals().unwrap();
        assert!(ledger.last_commit() >= before);
        assert_eq!(totals.readings, ledger.last_commit() * READINGS);
    }
    writer.kill();
}

#[test]
fn a_backup_overwrites_nothing_and_leaves_nothing_half_done() {
    let folder = TempDir::new().unwrap();
    drop(Ledger::open(folder.path()).unwrap());
    let there = folder.path().join("there");
    fs::write(&there, "mine").unwrap();
    assert!(matches!(backup(folder.path(), &there), Err(LedgerFault::Exists { .. })));
    assert_eq!(fs::read_to_string(&there).unwrap(), "mine");

    let nowhere = folder.path().join("no-such-folder/copy.db");
    assert!(matches!(backup(folder.path(), &nowhere), Err(LedgerFault::File { .. })));
    let empty = TempDir::new().unwrap();
    let copy = folder.path().join("copy.db");
    assert!(matches!(backup(empty.path(), &copy), Err(LedgerFault::Absent { .. })));
    assert!(!copy.exists());
}
