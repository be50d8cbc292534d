//! The time that engines were told without concluding anything: it counts after a restart as it did before, also where
//! the clock was set back meanwhile.

use std::sync::Arc;

use basinward::ledger::{JournalEntry, Ledger, Lived, RetentionPolicy};
use basinward::model::System;
use basinward::run::Steward;
use tempfile::TempDir;

use crate::yard::{minute, system};

/// The input that an engine lived through.
pub(crate) fn input(lived: Lived) -> JournalEntry {
    match lived {
        Lived::Input(entry) => entry,
        Lived::Told(_) => panic!("nobody was told the time: {lived:?}"),
    }
}

/// A daemon's writer, which may be killed and started again.
struct Yard {
    folder: TempDir,
    plans: [Arc<System>; 2],
    steward: Option<Steward>,
}

impl Yard {
    fn new() -> Self {
        let plans = [Arc::new(system("east", &["quince"])), Arc::new(system("west", &["plum"]))];
        let mut yard = Self { folder: TempDir::new().unwrap(), plans, steward: None };
        yard.begin();
        yard
    }

    fn begin(&mut self) {
        self.steward = None;
        let ledger = Ledger::open(self.folder.path()).unwrap();
        self.steward = Some(Steward::open(ledger, &self.plans, "greywater").unwrap());
    }

    fn steward(&mut self) -> &mut Steward {
        self.steward.as_mut().unwrap()
    }

    fn hear(&mut self, system: &str, basin: &str, minutes: i64, percent: &str) {
        let topic = format!("greywater/{system}/{basin}/moisture");
        self.steward().take(minute(minutes), &topic, percent.as_bytes());
        self.steward().store().unwrap();
    }

    /// What every engine remembers in the end.
    fn memory(mut self) -> Vec<Vec<u8>> {
        self.hear("east", "quince", 400, "30");
        self.hear("west", "plum", 401, "30");
        self.steward().put_away().unwrap();
        drop(self.steward);
        let mut ledger = Ledger::open(self.folder.path()).unwrap();
        ledger.enrol(self.plans.iter().map(|plan| &**plan)).unwrap();
        ledger.recover().unwrap().snapshots.into_values().map(|snapshot| snapshot.state).collect()
    }
}

/// The same told to one that is killed where `course` says so, and to one that is not.
fn survives(course: impl Fn(&mut Yard, &dyn Fn(&mut Yard))) {
    let (mut killed, mut spared) = (Yard::new(), Yard::new());
    course(&mut killed, &Yard::begin);
    course(&mut spared, &|_| ());
    let (killed, spared) = (killed.memory(), spared.memory());
    assert_eq!((killed.len(), spared.len()), (2, 2));
    assert!(killed == spared, "a restart changed what is remembered");
}

#[test]
fn what_comes_after_the_clock_was_set_back_is_late_for_a_restarted_engine_too() {
    survives(|yard, kill| {
        yard.hear("east", "quince", 0, "31.4");
        // Nobody concludes anything, and nothing is stored.
        yard.steward().tick(minute(100));
        yard.hear("east", "quince", 20, "31.2");
        kill(yard);
        // Late twice over: before the restart its turn had come already.
        yard.hear("east", "quince", 10, "31.3");
        yard.hear("east", "quince", 22, "31.1");
    });
}

#[test]
fn the_time_told_is_stored_with_whatever_is_stored() {
    survives(|yard, kill| {
        yard.hear("west", "plum", 0, "20");
        yard.hear("east", "quince", 1, "31.4");
        yard.steward().tick(minute(100));
        yard.hear("east", "quince", 100, "31.3");
        kill(yard);
        // The clock was set back, and one yard had said nothing since.
        yard.hear("west", "plum", 20, "21");
        yard.hear("west", "plum", 10, "22");
    });
}

#[test]
fn the_time_told_outlives_the_upkeep_of_the_journal() {
    survives(|yard, kill| {
        yard.hear("west", "plum", 0, "20");
        yard.hear("east", "quince", 1, "31.4");
        yard.steward().put_away().unwrap();
        yard.steward().tick(minute(100));
        yard.hear("east", "quince", 100, "31.3");
        yard.steward().put_away().unwrap();
        yard.steward().ledger().retain(minute(100), &RetentionPolicy::default()).unwrap();
        kill(yard);
        yard.hear("west", "plum", 15, "20.5");
        // Now the row of the journal that said so is no longer the newest one, and no engine waits for it.
        yard.steward().ledger().retain(minute(100), &RetentionPolicy::default()).unwrap();
        kill(yard);
        yard.hear("west", "plum", 20, "21");
        yard.hear("west", "plum", 10, "22");
    });
}
