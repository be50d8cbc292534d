//! Files of every format ever published, of newer ones, of other programs, and broken ones.

use std::fs;
use std::path::Path;

use basinward::alerts::AlertNo;
use basinward::engine::{Change, Dose, Effect, Input, Soak};
use basinward::ledger::{Batch, Ledger, LedgerFault, Position, Resolution, RetentionPolicy, View};
use basinward::model::{BasinIx, Reading, SensorIx, Span, System, Value};
use rusqlite::Connection;
use tempfile::TempDir;

use crate::told::input;
use crate::yard::{PROBE, flooding, id, minute, system, take};

/// The newest format.
const KNOWN: u32 = 14;

fn east() -> System {
    system("east", &["quince", "fig"])
}

/// One of everything: the content of every file in `tests/ledger_formats`.
fn write_story(folder: &Path) {
    let mut ledger = Ledger::open(folder).unwrap();
    let no = ledger.enrol([&east()]).unwrap()[0];
    let recovery = ledger.recover().unwrap();
    ledger.replay(&recovery, |_| ()).unwrap();
    let mut batch = Batch::default();
    for i in 0..30 {
        take(&mut batch, no, PROBE, minute(i * 5), 0.2 + i as f64 / 1000.0);
    }
    batch.conclude(no, flooding(Change::Raised, "quince", minute(40), 0.9));
    batch.conclude(no, flooding(Change::Raised, "fig", minute(41), 0.7));
    batch.save(no, b"the engine after the first commit".to_vec());
    ledger.commit(&batch).unwrap();
    batch.clear();
    let wet = Reading { sensor: SensorIx(0), at: minute(150), value: Value::Wet(true) };
    batch.count_message(minute(151));
    batch.take_in(no, minute(151), Input::Reading(wet));
    batch.take_in(no, minute(152), Input::Tick);
    batch.conclude(no, flooding(Change::Cleared, "quince", minute(150), 0.9));
    let shares = vec![(BasinIx(0), 0.4), (BasinIx(1), 0.6)];
    batch.conclude(no, Effect::Dose(Dose { at: minute(10), litres: None, shares, quality: 0.5 }));
    let lasted = Span::from_mins(30);
    batch.conclude(no, Effect::Soak(Soak { basin: BasinIx(1), began: minute(12), lasted }));
    batch.refuse("out-of-range", "greywater/east/fig/moisture", b"7", &"7 is above 1", minute(100));
    batch.hear_unassigned("greywater/north/plum/float", b"dry", minute(101));
    batch.reach("influx", Position::Readings(1));
    batch.reach("webhook", Position::Effects(2));
    ledger.commit(&batch).unwrap();
    ledger.retain(minute(120), &RetentionPolicy::default()).unwrap();
}

fn assert_story(folder: &Path) {
    let mut ledger = Ledger::open(folder).unwrap();
    let no = ledger.enrol([&east()]).unwrap()[0];
    let recovery = ledger.recover().unwrap();
    assert_eq!(recovery.last_received, Some(minute(151)));
    assert_eq!(recovery.snapshots[&no].state, b"the engine after the first commit");
    let mut inputs = Vec::new();
    ledger.replay(&recovery, |lived| inputs.push(input(lived))).unwrap();
    let wet = Reading { sensor: SensorIx(0), at: minute(150), value: Value::Wet(true) };
    let inputs: Vec<_> = inputs.into_iter().map(|entry| (entry.received, entry.input)).collect();
    assert_eq!(inputs, [(minute(151), Input::Reading(wet)), (minute(152), Input::Tick)]);

    let view = View::open(folder).unwrap();
    view.check().unwrap();
    let east = id("east");
    let totals = view.totals().unwrap();
    assert_eq!((totals.messages, totals.readings, totals.last_commit, totals.unassigned), (31, 31, 2, 1));
    let open = view.findings_open().unwrap();
    assert_eq!((open.len(), open[0].raised_at), (1, minute(41)));
    assert_eq!(view.findings_history(Some(&east), minute(99), 9).unwrap()[1].cleared_at, Some(minute(150)));
    assert_eq!(view.changes_since(0, 99).unwrap().len(), 5);
    assert_eq!(view.doses(&east, minute(0), minute(99)).unwrap()[0].shares[&id("fig")].to_string(), "0.6");
    assert_eq!(view.soaks(&east, minute(0), minute(99)).unwrap()[0].basin, id("fig"));
    let bins = |r| view.history(&east, "quince/moisture", minute(0), minute(999), r).unwrap();
    let counts = |r| bins(r).iter().map(|bin| bin.count).collect::<Vec<_>>();
    assert_eq!((counts(Resolution::Hour), counts(Resolution::Day)), (vec![12, 12, 6], vec![30]));
    assert_eq!(bins(Resolution::Raw).len(), 30);
    assert_eq!(view.latest(Some(&east)).unwrap().len(), 2);
    assert_eq!((view.readings_cursor("influx").unwrap(), view.effects_cursor("webhook").unwrap()), (1, 2));
    assert_eq!(view.refusals().unwrap().samples[0].detail, "7 is above 1");
    assert_eq!(view.unassigned().unwrap()[0].topic, "greywater/north/plum/float");
}

#[test]
fn todays_format_tells_the_story() {
    let folder = TempDir::new().unwrap();
    write_story(folder.path());
    assert_story(folder.path());
}

/// The first file was written by a program of its format. The others hold that story as the published steps left it,
/// with a person (format 2), a message (3) and a reader's place (4) such as programs of their format wrote.
#[test]
fn a_file_of_every_published_format_is_brought_up_to_date_and_tells_the_same_story() {
    let formats = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/ledger_formats");
    let files: Vec<_> = fs::read_dir(formats).unwrap().map(|file| file.unwrap().path()).collect();
    let mut formats_seen = Vec::new();
    for file in files {
        let folder = TempDir::new().unwrap();
        let sql = fs::read_to_string(&file).unwrap();
        let db = Connection::open(folder.path().join("ledger.db")).unwrap();
        db.execute_batch(&sql).unwrap();
        let format: u32 = db.query_row("PRAGMA user_version", [], |row| row.get(0)).unwrap();
        drop(db);
        assert_story(folder.path());
        let view = View::open(folder.path()).unwrap();
        assert_eq!(view.has_people().unwrap(), format >= 2, "{format}");
        let told = view.alert(AlertNo(1)).unwrap().unwrap().sent;
        assert_eq!(told.len(), usize::from(format >= 3), "{format}");
        formats_seen.push(format);
    }
    formats_seen.sort_unstable();
    assert_eq!(formats_seen, (1..=KNOWN).collect::<Vec<_>>(), "a file of each format");
}

/// For a new format: `KEEP=… cargo test --test ledger keep_story -- --ignored`, then `sqlite3 ledger.db .dump`
/// with the two header pragmas added by hand, into `tests/ledger_formats`.
#[test]
#[ignore = "writes the file from which a new fixture is made"]
fn keep_story() {
    write_story(Path::new(&std::env::var_os("KEEP").expect("a folder to write to")));
}

fn ledger_with(sql: &str) -> TempDir {
    let folder = TempDir::new().unwrap();
    write_story(folder.path());
    Connection::open(folder.path().join("ledger.db")).unwrap().execute_batch(sql).unwrap();
    folder
}

#[test]
fn a_newer_file_is_refused_with_both_formats_named_and_left_alone() {
    let folder = ledger_with("PRAGMA user_version = 99");
    for fault in [Ledger::open(folder.path()).err(), View::open(folder.path()).err()] {
        let fault = fault.expect("refused");
        assert!(matches!(fault, LedgerFault::Newer { found: 99, known: KNOWN, .. }), "{fault:?}");
        let said = fault.to_string();
        assert!(
            said.contains("format 99")
                && said.contains(&format!("up to {KNOWN}"))
                && said.contains("install"),
            "{said}"
        );
    }
    let db = Connection::open(folder.path().join("ledger.db")).unwrap();
    assert_eq!(db.query_row("PRAGMA user_version", [], |row| row.get::<_, u32>(0)), Ok(99));
}

#[test]
fn a_database_of_another_program_is_refused() {
    let folder = TempDir::new().unwrap();
    let sql = "CREATE TABLE recipes (name TEXT); PRAGMA user_version = 1";
    Connection::open(folder.path().join("ledger.db")).unwrap().execute_batch(sql).unwrap();
    assert!(matches!(Ledger::open(folder.path()), Err(LedgerFault::Foreign { .. })));
}

#[test]
fn a_view_without_a_ledger_says_so() {
    let folder = TempDir::new().unwrap();
    assert!(matches!(View::open(folder.path()), Err(LedgerFault::Absent { .. })));
    // A file that nothing was written to yet is none either.
    fs::write(folder.path().join("ledger.db"), "").unwrap();
    assert!(matches!(View::open(folder.path()), Err(LedgerFault::Absent { .. })));
}

/// First page of a table, counted from 1.
fn root_page(folder: &Path, table: &str) -> u64 {
    let db = Connection::open(folder.join("ledger.db")).unwrap();
    db.query_row("SELECT rootpage FROM sqlite_schema WHERE name = ?1", [table], |row| row.get(0)).unwrap()
}

/// Overwrites 64 bytes of page number `page` with nonsense.
fn damage(folder: &Path, page: u64) {
    let file = folder.join("ledger.db");
    let mut bytes = fs::read(&file).unwrap();
    let start = (page as usize - 1) * 4096;
    bytes[start..start + 64].iter_mut().for_each(|byte| *byte ^= 0x5a);
    fs::write(file, bytes).unwrap();
}

#[test]
fn damage_is_found_at_the_start() {
    for table in ["findings", "latest", "series", "totals", "snapshots"] {
        let folder = ledger_with("");
        damage(folder.path(), root_page(folder.path(), table));
        let fault = Ledger::open(folder.path()).expect_err(table);
        assert!(matches!(fault, LedgerFault::Damaged { .. }), "{table}: {fault:?}");
        assert!(fault.to_string().contains("newest backup"), "{fault}");
    }
    let folder = ledger_with("");
    damage(folder.path(), 1);
    let fault = Ledger::open(folder.path()).unwrap_err();
    assert!(matches!(fault, LedgerFault::Damaged { .. }), "{fault:?}");
}

#[test]
fn damage_in_the_long_tables_is_found_by_the_check_of_everything() {
    let folder = ledger_with("");
    View::open(folder.path()).unwrap().check().unwrap();
    damage(folder.path(), root_page(folder.path(), "readings"));
    let ledger = Ledger::open(folder.path()).unwrap();
    let fault = View::open(folder.path()).unwrap().check().unwrap_err();
    assert!(matches!(fault, LedgerFault::Damaged { .. }), "{fault:?}");
    drop(ledger);
}
