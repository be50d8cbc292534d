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
/// Minutes of six weeks.
const SIX_WEEKS: i64 = 42 * 1440;

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
    hear_every(5, steward, systems, minutes);
}

/// The weeks of `minutes` in which west reports every two hours, tidied up by the day.
fn weeks_of_west(steward: &mut Steward, minutes: std::ops::Range<i64>) {
    for from in minutes.clone().step_by(1440) {
        hear_every(120, steward, &["west"], from..(from + 1440).min(minutes.end));
        tidy(steward, from);
    }
}

fn hear_every(step: usize, steward: &mut Steward, systems: &[&str], minutes: std::ops::Range<i64>) {
    for at in minutes.step_by(step) {
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

/// What nobody needs any more goes.
fn tidy(steward: &mut Steward, at: i64) {
    while steward.ledger().retain(minute(at), &RetentionPolicy::default()).unwrap().more {}
}

/// What is told to be wrong in east.
fn wrong(steward: &mut Steward) -> Vec<String> {
    let open = steward.ledger().view().unwrap().findings_open_in(&id("east")).unwrap();
    open.iter().map(|it| format!("{} {}", it.finding.kind, it.finding.subject.key())).collect()
}

/// What the engine of east remembers in the end.
fn memory(steward: Steward) -> Vec<u8> {
    memory_at(steward, END)
}

/// The same where the end comes at `end`.
fn memory_at(mut steward: Steward, end: i64) -> Vec<u8> {
    steward.tick(minute(end));
    hear(&mut steward, &["east", "west"], end..end + 10);
    steward.put_away().unwrap();
    let east = steward.ledger().number_of(&id("east")).unwrap().unwrap();
    steward.ledger().snapshot(east).unwrap().unwrap()
}

#[test]
fn a_system_that_was_held_for_less_than_an_hour_goes_on_as_if_it_had_never_been_away() {
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
        hear(&mut steward, &["west"], until + 10..until + 60);
        let expected = memory(steward);

        let away = |folder: &TempDir| {
            let mut steward = Steward::open_soon(ledger(folder.path()), &west, &held, "greywater").unwrap();
            hear(&mut steward, &["west"], until + 10..until + 60);
            steward.put_away().unwrap();
            tidy(&mut steward, until + 60);
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

#[test]
fn after_weeks_it_waits_anew_however_it_went_and_comes_back() {
    let plans = [system("east"), system("west")];
    let west = [Arc::clone(&plans[1])];
    let (nobody, held) = (BTreeSet::new(), BTreeSet::from([id("east")]));
    let open = |folder: &Path, plans: &[Arc<System>], held: &BTreeSet<_>| {
        Steward::open_soon(ledger(folder), plans, held, "greywater").unwrap()
    };
    let (left, back) = (2_000, 2_010 + SIX_WEEKS);
    let lived = TempDir::new().unwrap();
    let mut steward = open(lived.path(), &plans, &nobody);
    hear(&mut steward, &["east", "west"], 0..left);
    hear(&mut steward, &["east", "west"], left..left + 10);
    drop(steward);
    // Its file was faulty at a start, or gone while the daemon was away, or went while it served.
    for way in ["faulty", "gone", "went"] {
        let folder = copy(&lived);
        let mut steward = match way {
            "faulty" => open(folder.path(), &west, &held),
            "gone" => open(folder.path(), &west, &nobody),
            _ => {
                let mut steward = open(folder.path(), &plans, &nobody);
                steward.adopt(&west, &nobody).unwrap();
                steward
            }
        };
        weeks_of_west(&mut steward, left + 10..back - 60);
        hear(&mut steward, &["west"], back - 60..back);
        drop(steward);

        let (by_reload, killed, by_restart) = (copy(&folder), copy(&folder), copy(&folder));
        let reloaded = |folder: &TempDir| {
            let mut steward = open(folder.path(), &west, if way == "faulty" { &held } else { &nobody });
            steward.adopt(&plans, &nobody).unwrap();
            steward
        };
        let mut steward = reloaded(&by_reload);
        steward.tick(minute(back + 30));
        assert_eq!(wrong(&mut steward), [] as [&str; 0], "{way}");
        let expected = memory_at(steward, back + 70);

        let mut steward = reloaded(&killed);
        hear(&mut steward, &["west"], back..back + 40);
        tidy(&mut steward, back + 40);
        drop(steward);
        assert!(memory_at(open(killed.path(), &plans, &nobody), back + 70) == expected, "{way}, killed");

        let mut steward = open(by_restart.path(), &plans, &nobody);
        hear(&mut steward, &["west"], back..back + 40);
        tidy(&mut steward, back + 40);
        drop(steward);
        let mut steward = open(by_restart.path(), &plans, &nobody);
        assert_eq!(wrong(&mut steward), [] as [&str; 0], "{way}");
        assert!(memory_at(steward, back + 70) == expected, "{way}, by a restart");
        let mut steward = open(by_restart.path(), &plans, &nobody);
        hear(&mut steward, &["west"], back + 80..back + 400);
        assert_eq!(wrong(&mut steward), ["sensor-silent sensor:fig/moisture"], "{way}: a silence is told");
    }
}

#[test]
fn who_is_watched_and_silent_for_weeks_is_not_taken_for_one_that_was_away() {
    let plans = [system("east"), system("west")];
    let folder = TempDir::new().unwrap();
    let mut steward =
        Steward::open_soon(ledger(folder.path()), &plans, &BTreeSet::new(), "greywater").unwrap();
    hear(&mut steward, &["east", "west"], 0..2_000);
    // Some days after the last forecast that its engine told.
    let end = 2_000 + SIX_WEEKS;
    weeks_of_west(&mut steward, 2_000..end);
    assert_eq!(wrong(&mut steward), ["sensor-silent sensor:fig/moisture"]);
    // As a crash would leave it, beside the one that goes on.
    let crashed = copy(&folder);
    let mut again =
        Steward::open_soon(ledger(crashed.path()), &plans, &BTreeSet::new(), "greywater").unwrap();
    assert_eq!(wrong(&mut again), ["sensor-silent sensor:fig/moisture"]);
    assert!(memory_at(again, end + 10) == memory_at(steward, end + 10));
}

/// The only system of a home, so that for weeks nothing at all is stored of any engine.
#[test]
fn where_nobody_was_watched_at_all_the_time_is_known_all_the_same() {
    let plans = [system("east")];
    let (nobody, held) = (BTreeSet::new(), BTreeSet::from([id("east")]));
    let folder = TempDir::new().unwrap();
    let open = |plans: &[Arc<System>], held: &BTreeSet<_>| {
        Steward::open_soon(ledger(folder.path()), plans, held, "greywater").unwrap()
    };
    let mut steward = open(&plans, &nobody);
    hear(&mut steward, &["east"], 0..2_000);
    drop(steward);
    let mut steward = open(&[], &held);
    for at in (2_000..2_000 + SIX_WEEKS).step_by(60) {
        steward.tick(minute(at));
        steward.store().unwrap();
        tidy(&mut steward, at);
    }
    drop(steward);
    let mut steward = open(&plans, &nobody);
    steward.tick(minute(2_000 + SIX_WEEKS - 10));
    steward.store().unwrap();
    assert_eq!(wrong(&mut steward), [] as [&str; 0]);
    steward.tick(minute(2_000 + SIX_WEEKS + 1440));
    steward.store().unwrap();
    assert_eq!(wrong(&mut steward), ["sensor-silent sensor:fig/moisture"]);
}
