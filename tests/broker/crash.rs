//! `kill -9` at random moments: whatever a broker or a device was told is safe, is in the ledger.
//!
//! The ledger here is a file that is synced before anything is acknowledged. The process that is killed
//! is this test program, started again for the one purpose.

use std::collections::BTreeSet;
use std::fs::{File, OpenOptions, read_to_string};
use std::hash::{BuildHasher, RandomState};
use std::io::Write;
use std::net::TcpStream;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Duration;

use basinward::clock::Clock;
use basinward::link::{EmbeddedBroker, EmbeddedSettings, Link, Protocol};
use support::{Device, Mosquitto, Process, free_port, until};

use crate::rig::{LIMIT, Writer, runtime, settings};

const TOPIC: &str = "greywater/alder/quince/moisture";
const PORT: &str = "BROKER_TEST_PORT";
const LEDGER: &str = "BROKER_TEST_LEDGER";

/// Deaths a test deals out; more by environment for a long night.
fn deaths() -> u64 {
    std::env::var("BASINWARD_KILLS").ok().and_then(|n| n.parse().ok()).unwrap_or(10)
}

/// Waits a random while before the kill; the seed is printed so that a failure can be told again.
struct Moments(u64);

impl Moments {
    fn new() -> Self {
        let seed = RandomState::new().hash_one("moments");
        println!("seed {seed}");
        Self(seed)
    }

    fn wait(&mut self) {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        std::thread::sleep(Duration::from_millis(10 + (self.0 >> 33) % 200));
    }
}

/// Starts this program again as one of the daemons below.
fn daemon(which: &str, port: u16, ledger: &Path) -> Process {
    let program = std::env::current_exe().expect("this program");
    Process::start(
        Command::new(program)
            .args(["--exact", which, "--ignored", "--nocapture"])
            .env(PORT, port.to_string())
            .env(LEDGER, ledger)
            .stdout(Stdio::null())
            .stderr(Stdio::null()),
    )
}

/// The port and the ledger, in a process that [`daemon`] started.
fn orders() -> Option<(u16, File)> {
    let port = std::env::var(PORT).ok()?.parse().expect("a port");
    let ledger = std::env::var_os(LEDGER)?;
    Some((port, OpenOptions::new().append(true).create(true).open(ledger).expect("opens")))
}

/// Stores batches until killed: write, sync, acknowledge.
fn store_for_ever(mut writer: Writer, mut ledger: File) {
    loop {
        let batch = writer.inbox.recv_batch(200, Duration::from_millis(1));
        let lines: Vec<u8> =
            batch.messages.iter().flat_map(|m| m.payload.iter().copied().chain([b'\n'])).collect();
        ledger.write_all(&lines).and_then(|()| ledger.sync_data()).expect("stores");
        writer.acker.ack(batch.messages);
        if batch.closed {
            return;
        }
    }
}

#[test]
#[ignore = "runs in a process of its own, to be killed"]
fn embedded_daemon() {
    let Some((port, ledger)) = orders() else { return };
    let runtime = runtime();
    let started = runtime.block_on(EmbeddedBroker::start(&EmbeddedSettings::loopback(port), Clock::wall()));
    let (_broker, inbox, acker) = started.expect("starts");
    store_for_ever(Writer { inbox, acker }, ledger);
}

#[test]
#[ignore = "runs in a process of its own, to be killed"]
fn linked_daemon() {
    let Some((port, ledger)) = orders() else { return };
    let runtime = runtime();
    let started = runtime.block_on(async { Link::start(&settings(port, Protocol::V311), Clock::wall()) });
    let (_link, inbox, acker) = started.expect("starts");
    store_for_ever(Writer { inbox, acker }, ledger);
}

/// The whole lines of the ledger; a kill may have torn the last.
fn stored(ledger: &Path) -> BTreeSet<String> {
    let text = read_to_string(ledger).unwrap_or_default();
    let whole = text.rfind('\n').map_or("", |end| &text[..end]);
    whole.lines().map(str::to_owned).collect()
}

#[test]
fn what_the_embedded_broker_acknowledged_survives_its_death() {
    let folder = tempfile::tempdir().expect("a folder");
    let ledger = folder.path().join("ledger");
    let port = free_port();
    let mut moments = Moments::new();
    let mut promised = BTreeSet::new();
    for life in 0..deaths() {
        let mut daemon = daemon("crash::embedded_daemon", port, &ledger);
        until(LIMIT, "it listens", || TcpStream::connect(("127.0.0.1", port)).is_ok());
        let devices: Vec<_> = (0..5)
            .map(|device| {
                std::thread::spawn(move || {
                    let name = move |n| format!("{life}-{device}-{n}");
                    let Ok(mut connection) = Device::connect(port, None) else { return Vec::new() };
                    let progress = connection.publish_all((0..).map(|n| (TOPIC, name(n))), 20);
                    (0..progress.acknowledged).map(name).collect::<Vec<_>>()
                })
            })
            .collect();
        moments.wait();
        daemon.kill();
        for device in devices {
            promised.extend(device.join().expect("no panic"));
        }
    }
    let stored = stored(&ledger);
    let lost: Vec<_> = promised.difference(&stored).take(10).collect();
    println!("{} acknowledged, {} stored", promised.len(), stored.len());
    assert!(promised.len() > 100, "the devices were hardly served: {}", promised.len());
    assert!(lost.is_empty(), "acknowledged and lost: {lost:?} …");
}

#[test]
fn what_mosquitto_took_reaches_the_ledger_through_our_deaths() {
    let broker = Mosquitto::start();
    let folder = tempfile::tempdir().expect("a folder");
    let ledger = folder.path().join("ledger");
    let mut moments = Moments::new();
    let first = daemon("crash::linked_daemon", broker.port(), &ledger);
    until(LIMIT, "it listens", || {
        broker.publish(TOPIC, "hello");
        stored(&ledger).contains("hello")
    });
    drop(first); // its session stays

    let mut device = broker.device();
    let sending = std::thread::spawn(move || {
        let mut sent = 0;
        while sent < 60_000 {
            let messages = (sent..sent + 1_000).map(|n| (TOPIC, n.to_string()));
            assert!(device.publish_all(messages, 200).ended_by.is_none());
            sent += 1_000;
            std::thread::sleep(Duration::from_millis(10));
        }
    });
    for _ in 0..deaths() {
        let mut daemon = daemon("crash::linked_daemon", broker.port(), &ledger);
        moments.wait();
        moments.wait();
        daemon.kill();
    }
    sending.join().expect("everything was taken by the broker");
    let _last = daemon("crash::linked_daemon", broker.port(), &ledger);
    until(LIMIT, "every message is stored", || {
        let stored = stored(&ledger);
        (0..60_000).all(|n| stored.contains(&n.to_string()))
    });
}
