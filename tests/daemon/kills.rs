//! `kill -9` at random moments under load loses nothing that was acknowledged and repeats no finding.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::thread;
use std::time::Duration;

use basinward::engine::Change;
use basinward::model::EventTime;
use support::{Device, Mosquitto, free_port, until};

use crate::rig::{PATIENCE, Yard};

const SYSTEMS: usize = 3;

/// How often to kill: `BASINWARD_KILLS`, else 50.
fn kills() -> usize {
    std::env::var("BASINWARD_KILLS").ok().and_then(|text| text.parse().ok()).unwrap_or(50)
}

/// The recent past, so that readings are neither too old nor in the future.
fn start() -> i64 {
    let file = tempfile::NamedTempFile::new().expect("a temporary file");
    let modified = file.as_file().metadata().and_then(|m| m.modified()).expect("the time now");
    let now = modified.duration_since(std::time::UNIX_EPOCH).expect("after 1970").as_secs();
    i64::try_from(now).expect("a time") - 100 * 86_400
}

/// Message `n` of the load: a minute of the yards' life each, every system and sensor in turn. Every
/// hour the overflow float of one basin is wet for a while, which is a flood.
fn message(start: i64, n: usize) -> (String, String, String, i64, f64) {
    let at = start + n as i64 * 60;
    let system = format!("yard-{}", n % SYSTEMS);
    let step = n / SYSTEMS;
    let (sensor, value) = match step % 4 {
        0 => ("quince/moisture", 0.2 + 0.001 * (step % 97) as f64),
        1 => ("fig/moisture", 0.2 + 0.001 * (step % 89) as f64),
        2 => ("quince/overflow", f64::from(u8::from(step / 24 % 2 == 1))),
        _ => ("fig/overflow", f64::from(u8::from(step / 36 % 3 == 1))),
    };
    let payload = if sensor.ends_with("overflow") {
        format!("{{\"value\":{},\"time\":{at}}}", value > 0.5)
    } else {
        format!("{{\"value\":{value},\"time\":{at}}}")
    };
    (system, sensor.to_owned(), payload, at, value)
}

/// Everything acknowledged is in the ledger with its value, and every change of a finding is there once
/// and in a possible order.
fn check(yard: &Yard, start: i64, acknowledged: usize) {
    let mut expected: BTreeMap<(String, String), BTreeMap<EventTime, f64>> = BTreeMap::new();
    for n in 0..acknowledged {
        let (system, sensor, _, at, value) = message(start, n);
        expected.entry((system, sensor)).or_default().insert(EventTime::from_secs(at), value);
    }
    for ((system, sensor), readings) in &expected {
        let stored = yard.readings(system, sensor);
        for (at, value) in readings {
            assert_eq!(stored.get(at), Some(value), "{system} {sensor} at {at} was acknowledged");
        }
    }
    let mut seen = BTreeSet::new();
    let mut open = BTreeSet::new();
    for (system, change) in yard.changes() {
        let what = (system, change.finding.kind, change.finding.subject.clone());
        let verb = format!("{:?}", change.change);
        assert!(seen.insert((what.clone(), verb, change.at)), "{what:?} {change:?} is there twice");
        match change.change {
            Change::Raised => assert!(open.insert(what.clone()), "{what:?} raised while it stands"),
            Change::Updated => assert!(open.contains(&what), "{what:?} updated while it does not stand"),
            Change::Cleared => assert!(open.remove(&what), "{what:?} cleared while it does not stand"),
        }
    }
    assert!(seen.len() > 20, "the load floods basins: {}", seen.len());
}

/// Some milliseconds between 0 and `bound`, different every time.
fn random_pause(bound: u64, round: usize) -> Duration {
    use std::hash::{BuildHasher, RandomState};
    Duration::from_millis(RandomState::new().hash_one(round) % bound)
}

#[test]
fn with_a_broker_of_its_own() {
    let broker = Mosquitto::start();
    let yard = Yard::new(SYSTEMS).listening_to(broker.port());
    let (start, kills) = (start(), kills());
    let sent = Arc::new(AtomicUsize::new(0));
    let enough = Arc::new(AtomicBool::new(false));
    // The session must exist before the first message, or the broker keeps nothing for it.
    let mut daemon = yard.start();
    until(PATIENCE, "the daemon listens", || yard.times_logged("listening to the broker") > 0);
    let sensors = {
        let (sent, enough, mut device) = (Arc::clone(&sent), Arc::clone(&enough), broker.device());
        thread::spawn(move || {
            while !enough.load(Ordering::Relaxed) {
                let from = sent.load(Ordering::Relaxed);
                let load = (from..from + 200).map(|n| message(start, n));
                let load = load
                    .map(|(system, sensor, payload, ..)| (format!("greywater/{system}/{sensor}"), payload));
                let progress = device.publish_all(load, 100);
                assert!(progress.ended_by.is_none(), "the broker stays up: {progress:?}");
                sent.fetch_add(progress.acknowledged, Ordering::Relaxed);
                thread::sleep(Duration::from_millis(20));
            }
        })
    };
    for round in 0..kills {
        thread::sleep(random_pause(120, round));
        daemon.process.kill();
        daemon = if round % 5 == 0 { yard.launch() } else { yard.start() };
    }
    enough.store(true, Ordering::Relaxed);
    sensors.join().expect("the sensors published");
    drop(daemon);
    let sent = sent.load(Ordering::Relaxed);
    let _daemon = yard.start();
    let (system, sensor, _, at, _) = message(start, sent - 1);
    until(PATIENCE, "the last message is stored", || {
        yard.readings(&system, &sensor).contains_key(&EventTime::from_secs(at))
    });
    check(&yard, start, sent);
    println!("{kills} kills, {sent} acknowledged messages, all stored");
}

#[test]
fn with_the_embedded_broker() {
    let port = free_port();
    let yard = Yard::new(SYSTEMS).with_embedded_broker(port);
    let (start, kills) = (start(), kills());
    let acknowledged = Arc::new(AtomicUsize::new(0));
    let enough = Arc::new(AtomicBool::new(false));
    let sensors = {
        let (acknowledged, enough) = (Arc::clone(&acknowledged), Arc::clone(&enough));
        thread::spawn(move || {
            while !enough.load(Ordering::Relaxed) {
                let Ok(mut device) = Device::connect(port, None) else {
                    thread::sleep(Duration::from_millis(5));
                    continue;
                };
                let from = acknowledged.load(Ordering::Relaxed);
                let load = (from..from + 200).map(|n| message(start, n));
                let load = load
                    .map(|(system, sensor, payload, ..)| (format!("greywater/{system}/{sensor}"), payload));
                let progress = device.publish_all(load, 20);
                acknowledged.fetch_add(progress.acknowledged, Ordering::Relaxed);
            }
        })
    };
    let mut daemon = yard.start();
    for round in 0..kills {
        thread::sleep(random_pause(120, round));
        daemon.process.kill();
        daemon = yard.start();
    }
    thread::sleep(Duration::from_millis(300));
    enough.store(true, Ordering::Relaxed);
    sensors.join().expect("the sensors published");
    let acknowledged = acknowledged.load(Ordering::Relaxed);
    check(&yard, start, acknowledged);
    drop(daemon);
    println!("{kills} kills, {acknowledged} acknowledged messages, all stored");
}
