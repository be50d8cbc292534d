//! Systems that are not watched for a while, since their files cannot be read: what their engines had not saved when
//! the daemon was killed waits in the journal.

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;
use std::sync::Arc;

use basinward::ledger::{Ledger, RetentionPolicy};
use basinward::model::System;
use basinward::run::Steward;
use basinward::systemfile;
use tempfile::TempDir;

use crate::yard::{id, minute};

/// When the last thing happens.
const END: i64 = 3_000;

/// A system of a property of its own, so that nothing is told from one to the other.
fn system(id: &str) -> Arc<System> {
    let text = format!(
        "id = \"{id}\"\nname = \"It\"\ntimezone = \"UTC\"\nsoil = \"loam\"\n[[basin]]\nid = \"fig\"\narea_m2 = 1.2\n\
         moisture = {{ unit = \"%\" }}\n"
    );
    Arc::new(systemfile::parse(&format!("{id}.toml"), &text).unwrap())
}

/// Readings of `systems` every five minutes of `minutes`, stored by the hour and in the end.
fn hear(steward: &mut Steward, systems: &[&str], minutes: std::ops::Range<i64>) {
    for at in minutes.step_by(5) {
        for system in systems {
            let percent = 20 + (at / 5) % 17;
            let topic = format!("greywater/{system}/fig/moisture");
            steward.take(minute(at), &topic, percent.to_string().as_bytes());
        }
        steward.tick(minute(at));
        if at % 60 == 0 {
            steward.store().unwrap();
        }
    }
    steward.store().unwrap();
}

fn ledger(folder: &Path) -> Ledger {
    Ledger::open(folder).unwrap()
}

fn copy(folder: &TempDir) -> TempDir {
    let copy = TempDir::new().unwrap();
    for entry in fs::read_dir(folder.path()).unwrap() {
        let entry = entry.unwrap();
        fs::copy(entry.path(), copy.path().join(entry.file_name())).unwrap();
    }
    copy
}

/// What the engine of east remembers in the end.
fn memory(mut steward: Steward) -> Vec<u8> {
    steward.tick(minute(END));
    hear(&mut steward, &["east", "west"], END..END + 10);
    steward.put_away().unwrap();
    let east = steward.ledger().number_of(&id("east")).unwrap().unwrap();
    steward.ledger().snapshot(east).unwrap().unwrap()
}

#[test]
fn a_system_that_was_held_goes_on_as_if_it_had_never_been_away() {
    let plans = [system("east"), system("west")];
    let west = [Arc::clone(&plans[1])];
    let (nobody, held) = (BTreeSet::new(), BTreeSet::from([id("east")]));
    let whole = |folder: &Path| Steward::open_soon(ledger(folder), &plans, &nobody, "greywater").unwrap();
    for until in [0, 1_000] {
        let killed = TempDir::new().unwrap();
        let mut steward = whole(killed.path());
        hear(&mut steward, &["east", "west"], 0..until);
        // Too little and too new for a snapshot.
        hear(&mut steward, &["east", "west"], until..until + 10);
        drop(steward);
        let (there, by_reload, by_restart) = (copy(&killed), copy(&killed), copy(&killed));
        let mut steward = whole(there.path());
        hear(&mut steward, &["west"], until + 10..until + 200);
        let expected = memory(steward);

        let away = |folder: &TempDir| {
            let mut steward = Steward::open_soon(ledger(folder.path()), &west, &held, "greywater").unwrap();
            hear(&mut steward, &["west"], until + 10..until + 200);
            steward.put_away().unwrap();
            // What nobody needs any more goes.
            while steward.ledger().retain(minute(until + 200), &RetentionPolicy::default()).unwrap().more {}
            steward
        };
        let mut steward = away(&by_reload);
        steward.adopt(&plans, &nobody).unwrap();
        assert!(memory(steward) == expected, "by a reload, {until} minutes");
        drop(away(&by_restart));
        assert!(memory(whole(by_restart.path())) == expected, "by a restart, {until} minutes");
    }
}

#[test]
fn what_is_held_in_the_journal_is_let_go_once_it_is_saved_or_the_file_is_gone() {
    let plans = [system("east"), system("west")];
    let west = [Arc::clone(&plans[1])];
    let (nobody, held) = (BTreeSet::new(), BTreeSet::from([id("east")]));
    let folder = TempDir::new().unwrap();
    let mut steward = Steward::open_soon(ledger(folder.path()), &plans, &nobody, "greywater").unwrap();
    hear(&mut steward, &["east", "west"], 0..400);
    hear(&mut steward, &["east", "west"], 400..410);
    drop(steward);
    let mut steward = Steward::open_soon(ledger(folder.path()), &west, &held, "greywater").unwrap();
    hear(&mut steward, &["west"], 410..500);
    steward.put_away().unwrap();
    let trimmed = |steward: &mut Steward, at| {
        steward.ledger().retain(minute(at), &RetentionPolicy::default()).unwrap().trimmed
    };
    trimmed(&mut steward, 500);
    assert_eq!(trimmed(&mut steward, 500), 0, "east still needs the rest");
    steward.adopt(&west, &nobody).unwrap();
    assert!(trimmed(&mut steward, 500) > 0, "nobody needs it");
}
