//! How fast the link takes messages in. `cargo bench --bench link -- [MESSAGES]`
//!
//! `drain`: Mosquitto holds a filled session and we empty it, acknowledging each batch: once as fast as
//! it comes, and once after a bare SQLite commit of each batch. `embedded`: devices publish at the
//! embedded broker, each waiting for its acknowledgement, which waits for a synced write.
//! One JSON line a case; rates are for comparison within one run only.

use std::fs::{File, read_to_string};
use std::io::Write;
use std::time::{Duration, Instant};

use basinward::clock::Clock;
use basinward::link::{
    Acker, EmbeddedBroker, EmbeddedSettings, Inbox, Link, LinkSettings, LinkState, Message, Protocol,
};
use rusqlite::Connection;
use support::{Device, Mosquitto};
use tokio::runtime::Runtime;

const TOPIC: &str = "greywater/alder/quince/moisture";
const BATCH: usize = 1_000;

fn main() {
    let messages = std::env::args().skip(1).find_map(|arg| arg.parse().ok()).unwrap_or(200_000);
    let runtime = Runtime::new().expect("a runtime");
    for protocol in [Protocol::V311, Protocol::V5] {
        drain(&runtime, protocol, messages, "nothing", |_| {});
        let folder = tempfile::tempdir().expect("a folder");
        let mut ledger = Ledger::open(&folder.path().join("ledger.sqlite"));
        drain(&runtime, protocol, messages, "sqlite", |batch| ledger.store(batch));
    }
    for devices in [1, 10, 100] {
        embedded(&runtime, devices, 2_000);
    }
}

/// Empties a session of `messages`, doing `work` on each batch before it is acknowledged.
fn drain(runtime: &Runtime, protocol: Protocol, messages: usize, what: &str, work: impl FnMut(&[Message])) {
    let broker = Mosquitto::with("max_queued_bytes 0");
    let settings = LinkSettings { protocol, ..LinkSettings::new("127.0.0.1", broker.port(), "bench") };
    let session = runtime.block_on(async { Link::start(&settings, Clock::wall()) }).expect("starts").0;
    let up = |state: &LinkState| matches!(state, LinkState::Up { .. });
    runtime.block_on(async { session.health().wait_for(up).await });
    runtime.block_on(session.disconnect());
    let filled = broker.device().publish_all((0..messages).map(reading), 1_000);
    assert_eq!(filled.acknowledged, messages, "{:?}", filled.ended_by);

    let cpu_s = cpu_seconds();
    let started = runtime.block_on(async { Link::start(&settings, Clock::wall()) });
    let (link, inbox, acker) = started.expect("starts");
    let seconds = consume(inbox, &acker, messages, work);
    let cpu_s = cpu_seconds() - cpu_s;
    let counts = link.health().counts();
    runtime.block_on(link.disconnect());
    println!(
        "{}",
        serde_json::json!({ "case": "drain", "protocol": format!("{protocol:?}"), "work": what,
            "messages": messages, "per_s": (messages as f64 / seconds).round(),
            "cpu_s_per_100k": rounded(cpu_s * 1e5 / messages as f64),
            "redelivered": counts.redelivered })
    );
}

/// Seconds from the first message to the last acknowledgement.
fn consume(mut inbox: Inbox, acker: &Acker, messages: usize, mut work: impl FnMut(&[Message])) -> f64 {
    let (mut taken, mut began) = (0, None);
    while taken < messages {
        let batch = inbox.recv_batch(BATCH, Duration::from_millis(5));
        began.get_or_insert_with(Instant::now);
        taken += batch.messages.len();
        work(&batch.messages);
        acker.ack(batch.messages);
    }
    began.map_or(0.0, |began| began.elapsed().as_secs_f64())
}

fn embedded(runtime: &Runtime, devices: usize, each: usize) {
    let started = runtime.block_on(EmbeddedBroker::start(&EmbeddedSettings::loopback(0), Clock::wall()));
    let (broker, inbox, acker) = started.expect("starts");
    let port = broker.address().port();
    let folder = tempfile::tempdir().expect("a folder");
    let mut ledger = File::create(folder.path().join("ledger")).expect("a file");
    let sending: Vec<_> = (0..devices)
        .map(|_| {
            std::thread::spawn(move || {
                let mut device = Device::connect(port, None).expect("connects");
                assert_eq!(device.publish_all((0..each).map(reading), 20).acknowledged, each);
            })
        })
        .collect();
    let messages = devices * each;
    let mut commits = 0;
    let store = |batch: &[Message]| {
        commits += 1;
        for message in batch {
            ledger.write_all(&message.payload).expect("writes");
        }
        ledger.sync_data().expect("syncs");
    };
    let seconds = consume_at_once(inbox, &acker, messages, store);
    for device in sending {
        device.join().expect("every message is acknowledged");
    }
    runtime.block_on(broker.stop());
    println!(
        "{}",
        serde_json::json!({ "case": "embedded", "devices": devices, "messages": messages,
            "per_s": (messages as f64 / seconds).round(), "commits": commits })
    );
}

/// As [`consume`], but without lingering: whatever came during one commit makes the next.
fn consume_at_once(
    mut inbox: Inbox,
    acker: &Acker,
    messages: usize,
    mut work: impl FnMut(&[Message]),
) -> f64 {
    let (mut taken, began) = (0, Instant::now());
    while taken < messages {
        let batch = inbox.recv_batch(BATCH, Duration::ZERO);
        taken += batch.messages.len();
        work(&batch.messages);
        acker.ack(batch.messages);
    }
    began.elapsed().as_secs_f64()
}

fn reading(n: usize) -> (&'static str, String) {
    let basin = n % 200;
    (
        TOPIC,
        format!(
            r#"{{"seq":{n},"basin":"b{basin:04}","time":{},"value":0.{:03}}}"#,
            1_772_352_900_000 + n,
            n % 400
        ),
    )
}

struct Ledger(Connection);

#[derive(serde::Deserialize)]
struct Reading<'a> {
    basin: &'a str,
    time: i64,
    value: f64,
}

impl Ledger {
    fn open(path: &std::path::Path) -> Self {
        let db = Connection::open(path).expect("opens");
        db.execute_batch(
            "PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL;
             CREATE TABLE r(basin TEXT, time INTEGER, value REAL, PRIMARY KEY(basin, time)) WITHOUT ROWID",
        )
        .expect("a table");
        Self(db)
    }

    fn store(&mut self, batch: &[Message]) {
        let commit = self.0.transaction().expect("begins");
        {
            let mut insert =
                commit.prepare_cached("INSERT OR IGNORE INTO r VALUES(?,?,?)").expect("prepares");
            for message in batch {
                let reading: Reading<'_> = serde_json::from_slice(&message.payload).expect("ours");
                insert.execute((reading.basin, reading.time, reading.value)).expect("inserts");
            }
        }
        commit.commit().expect("commits");
    }
}

/// Processor time of this process so far, from Linux.
fn cpu_seconds() -> f64 {
    let stat = read_to_string("/proc/self/stat").unwrap_or_default();
    let fields: Vec<_> = stat.rsplit(')').next().unwrap_or_default().split_whitespace().collect();
    let ticks = |n: usize| fields.get(n).and_then(|t| t.parse::<f64>().ok()).unwrap_or(f64::NAN);
    (ticks(11) + ticks(12)) / 100.0
}

fn rounded(value: f64) -> f64 {
    (value * 100.0).round() / 100.0
}
