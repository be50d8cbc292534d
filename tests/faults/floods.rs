//! More than anybody should send.

use std::fs;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread;
use std::time::Duration;

use support::{Mosquitto, until};

use crate::load::{Message, Sent, now};
use crate::rig::{Daemon, PATIENCE, Yard};

fn yard_at(broker: &Mosquitto, systems: usize) -> (Yard, Daemon) {
    let yard = Yard::new(systems).listening_to(broker.port());
    let daemon = yard.start();
    until(PATIENCE, "the daemon listens", || yard.times_logged("listening to the broker") > 0);
    (yard, daemon)
}

/// Most memory that a process ever had, in KiB (proc(5)).
fn peak_kib(daemon: &Daemon) -> u64 {
    let status = fs::read_to_string(format!("/proc/{}/status", daemon.process.id())).unwrap();
    let peak = status.lines().find_map(|line| line.strip_prefix("VmHWM:")).unwrap();
    peak.trim_end_matches("kB").trim().parse().unwrap()
}

/// While `flood` goes on, a probe of another system reports; returns what it reported.
fn beside(broker: &Mosquitto, system: usize, flood: impl FnOnce() + Send) -> Sent {
    let over = AtomicBool::new(false);
    let mut sent = Sent::default();
    thread::scope(|scope| {
        let quiet = scope.spawn(|| {
            let (mut device, mut reported) = (broker.device(), Vec::new());
            let start = now() - 30 * 86_400;
            while !over.load(Ordering::Relaxed) || reported.len() < 50 {
                let n = reported.len();
                let system = format!("yard-{system}");
                let at = start + n as i64 * 60;
                let message =
                    Message { system, sensor: "fig/moisture", at, value: 0.3 + 0.001 * (n % 9) as f64 };
                device.publish(&message.topic(), message.payload().as_bytes()).unwrap();
                reported.push(message);
                thread::sleep(Duration::from_millis(10));
            }
            reported
        });
        flood();
        over.store(true, Ordering::Relaxed);
        let acknowledged = quiet.join().unwrap();
        sent.note_all(&acknowledged);
    });
    sent
}

#[test]
fn a_hundred_thousand_unknown_topics_are_counted_and_remembered_in_part() {
    const TOPICS: usize = 100_000;
    let broker = Mosquitto::start();
    let (yard, daemon) = yard_at(&broker, 2);
    let known = beside(&broker, 1, || {
        let unknown = (0..TOPICS).map(|n| (format!("greywater/nobody-{n}/quince/moisture"), "0.3"));
        let progress = broker.device().publish_all(unknown, 500);
        assert_eq!(progress.acknowledged, TOPICS, "{progress:?}");
    });
    let heard = || yard.view().totals().unwrap().unassigned;
    until(PATIENCE, "all are heard", || heard() == TOPICS as u64);
    until(PATIENCE, "the known ones are stored", || known.missing(&yard) == 0);
    let remembered = yard.view().unassigned().unwrap().len();
    println!("{TOPICS} unknown topics: {remembered} remembered, at most {} MiB", peak_kib(&daemon) / 1024);
    assert!(remembered < 1000, "{remembered}");
    known.assert_nothing_is_missing(&yard, "beside 100,000 unknown topics");
}

#[test]
fn a_gateway_that_replays_a_month_twice_changes_nothing_for_others() {
    const MINUTES: i64 = 30 * 1440;
    let broker = Mosquitto::start();
    let (yard, _daemon) = yard_at(&broker, 2);
    let start = now() - MINUTES * 60 - 3600;
    let month: Vec<Message> = (0..MINUTES / 5)
        .flat_map(|n| {
            ["quince/moisture", "fig/moisture"].map(|sensor| Message {
                system: "yard-0".to_owned(),
                sensor,
                at: start + n * 300,
                value: 0.25 + 0.001 * (n % 3) as f64,
            })
        })
        .collect();
    let mut sent = Sent::default();
    sent.note_all(&month);
    let live = beside(&broker, 1, || {
        for _ in 0..2 {
            let progress =
                broker.device().publish_all(month.iter().map(|it| (it.topic(), it.payload())), 500);
            assert_eq!(progress.acknowledged, month.len(), "{progress:?}");
        }
    });
    until(PATIENCE, "all is stored", || yard.view().totals().unwrap().duplicates >= month.len() as u64);
    sent.assert_nothing_is_missing(&yard, "a month replayed twice");
    until(PATIENCE, "the live ones are stored", || live.missing(&yard) == 0);
    live.assert_nothing_is_missing(&yard, "live beside a month replayed twice");
    let totals = yard.view().totals().unwrap();
    assert_eq!(totals.readings as usize, sent.count() + live.count(), "each is stored once");
    assert!(totals.refused.is_empty(), "{:?}", totals.refused);
}

#[test]
fn a_sensor_that_reports_a_thousand_times_a_second_is_limited_and_harms_nobody() {
    const READINGS: i64 = 60_000;
    let broker = Mosquitto::start();
    let (yard, _daemon) = yard_at(&broker, 2);
    let start_ms = (now() - 3600) * 1000;
    let others = beside(&broker, 1, || {
        let minute = (0..READINGS).map(|n| {
            let payload =
                format!("{{\"value\":{},\"time\":{}}}", 0.2 + 0.001 * (n % 50) as f64, start_ms + n);
            ("greywater/yard-0/quince/moisture", payload)
        });
        let progress = broker.device().publish_all(minute, 500);
        assert_eq!(progress.acknowledged as i64, READINGS, "{progress:?}");
    });
    until(PATIENCE, "all is heard", || {
        yard.view().totals().unwrap().messages as usize >= READINGS as usize + others.count()
    });
    let refused = yard.view().totals().unwrap().refused["too-often"];
    let kept = yard.readings("yard-0", "quince/moisture").len();
    println!("a minute at 1,000 readings a second: {kept} kept, {refused} refused");
    assert_eq!(kept as i64 + refused as i64, READINGS);
    assert!(kept < 800, "{kept}");
    others.assert_nothing_is_missing(&yard, "beside a sensor at 1,000 readings a second");
}
