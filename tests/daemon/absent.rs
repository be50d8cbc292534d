//! A system to which nobody listened for weeks, in a daemon whose clock is put forward.

use basinward::engine::Change;
use basinward::model::FindingKind;
use support::{Mosquitto, until};

use crate::other_clock::OtherClock;
use crate::rig::{Daemon, PATIENCE, Yard};

const FILE: &str = "systems/yard-0.toml";

fn start(yard: &Yard) -> Daemon {
    let before = yard.times_logged("listening to the broker");
    let daemon = yard.start();
    until(PATIENCE, "the daemon listens", || yard.times_logged("listening to the broker") > before);
    daemon
}

/// What was raised in a system so far, by kind and subject.
fn raised(yard: &Yard, system: &str) -> Vec<(FindingKind, String)> {
    let changes = yard.changes().into_iter();
    let of = changes.filter(|(id, it)| id.as_str() == system && it.change == Change::Raised);
    of.map(|(_, it)| (it.finding.kind, it.finding.subject.key())).collect()
}

fn is_silent(yard: &Yard, system: &str) -> bool {
    raised(yard, system).contains(&(FindingKind::SensorSilent, "sensor:fig/moisture".to_owned()))
}

/// Publishes what a sensor says now, until it is stored.
fn hear(broker: &Mosquitto, yard: &Yard, system: &str, sensor: &str, says: &str) {
    let stored = || yard.readings(system, sensor).len();
    let before = stored();
    broker.publish(&format!("greywater/{system}/{sensor}"), says);
    until(PATIENCE, "it is stored", || stored() > before);
}

/// Four weeks, for which the journal waits, in which the file of the first of two systems cannot be read; `mend` makes it whole.
fn weeks_away(mend: impl FnOnce(&Yard, Daemon, &str) -> Daemon) {
    let Some(clock) = OtherClock::found() else { return };
    let broker = Mosquitto::start();
    let yard = clock.drive(Yard::new(2).listening_to(broker.port()));
    let good = yard.file(FILE);
    let daemon = start(&yard);
    for system in ["yard-0", "yard-1"] {
        hear(&broker, &yard, system, "fig/moisture", "31.4");
    }
    hear(&broker, &yard, "yard-0", "fig/float", "wet");
    // Killed, so that it is in the journal alone.
    drop(daemon);
    yard.write(FILE, &good.replace("sandy-loam", "sandy-lome"));
    let daemon = start(&yard);
    assert_eq!(yard.times_logged("is not watched until its file is mended"), 1, "{}", yard.log());
    clock.goes_ahead_by("28d");
    until(PATIENCE, "who is watched is missed", || is_silent(&yard, "yard-1"));

    let daemon = mend(&yard, daemon, &good);
    until(PATIENCE, "it is watched again", || {
        yard.times_logged("is watched again, with what it had learnt") == 1
    });
    clock.goes_ahead_by("674h");
    hear(&broker, &yard, "yard-1", "fig/moisture", "31.4");
    hear(&broker, &yard, "yard-0", "quince/moisture", "31.4");
    assert_eq!(raised(&yard, "yard-0"), [], "nobody listened");
    clock.goes_ahead_by("30d");
    until(PATIENCE, "a silence is told when it has lasted", || is_silent(&yard, "yard-0"));
    let told = raised(&yard, "yard-0");
    assert!(told.iter().all(|(kind, _)| *kind == FindingKind::SensorSilent), "{told:?}");
    drop(daemon);
}

#[test]
fn weeks_in_which_nobody_listened_are_no_silence_when_the_file_is_mended() {
    weeks_away(|yard, daemon, good| {
        yard.write(FILE, good);
        daemon.process.signal("HUP");
        daemon
    });
}

#[test]
fn weeks_in_which_nobody_listened_are_no_silence_after_a_restart() {
    weeks_away(|yard, daemon, good| {
        drop(daemon);
        yard.write(FILE, good);
        start(yard)
    });
}
