//! The whole pipeline beside what somebody would write instead. `cargo bench --bench pipeline -- [MESSAGES]`
//!
//! One broker holds the same backlog for several sessions, and each contender empties its own in turn:
//!
//! - `basinward`: decode, engine, durable commit, acknowledgement;
//! - `rust script`: the same client library as most Rust programs use, and SQLite: parse, last value, one threshold,
//!   insert, commit a thousand messages at a time, acknowledging before that;
//! - `python script`, `node script`: the same in those languages, where `PIPELINE_PYTHON` names a Python that has
//!   paho-mqtt, and `PIPELINE_NODE_MODULES` a folder with mqtt and better-sqlite3;
//! - `counting`: that client library alone, and `mosquitto_sub`.
//!
//! Whatever else the machine does slows all of them: the ratios within one run are what counts.

mod contenders;
mod measure;

use support::Mosquitto;

use contenders::{Contender, Measured, Work};

/// Every system has two basins with a probe each.
const SYSTEMS: usize = 200;
const BASINS: [&str; 2] = ["north", "south"];
/// Minutes from one reading of a probe to the next.
const EVERY_MIN: usize = 5;
const WINDOW: usize = 1_000;

fn main() {
    let args: Vec<String> = std::env::args().skip(1).collect();
    if let Some(at) = args.iter().position(|arg| arg == "contend") {
        return contenders::contend(&args[at + 1..]);
    }
    let messages = args.iter().find_map(|arg| arg.parse().ok()).unwrap_or(200_000);
    let broker = Mosquitto::with("max_queued_bytes 0");
    let folder = tempfile::tempdir().expect("a folder");
    let contenders = Contender::all(broker.port(), messages, folder.path());
    contenders.iter().for_each(Contender::subscribe);
    let filled = broker.device().publish_all(backlog(messages), WINDOW);
    assert_eq!(filled.acknowledged, messages, "{:?}", filled.ended_by);
    println!("{messages} messages of {SYSTEMS} systems; {}", measure::machine());
    println!(
        "{:15} {:>10} {:>12} {:>9} {:>14} {:>12}",
        "", "messages/s", "CPU s/100k", "RSS MiB", "disk B/reading", "of the script"
    );
    let measured: Vec<(&str, Measured)> =
        contenders.iter().map(|contender| (contender.name, contender.drain())).collect();
    let script =
        measured.iter().find(|(name, _)| *name == "rust script").map_or(f64::NAN, |(_, it)| it.per_second);
    for (name, it) in &measured {
        let Measured { per_second, cpu_s_per_100k, rss_mib, disk_bytes } = it;
        println!(
            "{name:15} {per_second:>10.0} {cpu_s_per_100k:>12.2} {rss_mib:>9.1} {disk_bytes:>14.1} {:>12.2}",
            per_second / script
        );
    }
    let ours = contenders.iter().find(|it| matches!(it.work, Work::Basinward)).expect("it is one of them");
    println!("basinward stored {} readings", ours.stored());
}

/// Readings of all probes in turn, as if a gateway had kept them: the oldest first, the newest an interval ago.
fn backlog(messages: usize) -> impl Iterator<Item = (String, String)> {
    let probes = SYSTEMS * BASINS.len();
    let rounds = messages.div_ceil(probes);
    let now = basinward::clock::Clock::wall().now().millis() / 1_000;
    (0..messages).map(move |n| {
        let (round, probe) = (n / probes, n % probes);
        let (system, basin) = (probe / BASINS.len(), BASINS[probe % BASINS.len()]);
        let at = now - (60 * EVERY_MIN * (rounds - round)) as i64;
        // Wet after every twentieth reading, drying in between.
        let value = 0.35 - 0.01 * ((round + system) % 20) as f64;
        (
            format!("greywater/load-{system:03}/{basin}/moisture"),
            format!(r#"{{"value":{value:.3},"time":{at}}}"#),
        )
    })
}
