//! From ten systems to a hundred thousand.

use std::time::Instant;

use support::{Mosquitto, until};

use crate::measure::{bytes_in, cpu_seconds, memory_mib};
use crate::yards::{BASINS, PATIENCE, Yards};

const SIZES: [usize; 5] = [10, 1_000, 10_000, 50_000, 100_000];
/// Readings of the backlog at least; every probe sends two or more.
const READINGS: usize = 300_000;
const WINDOW: usize = 1_000;
/// Minutes from one reading of a probe to the next.
const EVERY_MIN: i64 = 5;

struct Row {
    first_start_s: f64,
    idle_mib: f64,
    per_second: f64,
    cpu_s_per_100k: f64,
    bytes_a_reading: f64,
    loaded_mib: f64,
    again_s: f64,
    again_mib: f64,
}

pub(crate) fn print(sizes: &[usize]) {
    let sizes = if sizes.is_empty() { &SIZES[..] } else { sizes };
    println!("Goals: back in 3 s with 100,000 basins, 40 MiB idle, 8 KiB a basin.\n");
    println!(
        "| systems | basins | first start s | idle MiB | readings/s | CPU s/100k | disk B/reading | under load MiB | KiB/basin | start again s | then MiB |"
    );
    println!("|--:|--:|--:|--:|--:|--:|--:|--:|--:|--:|--:|");
    let mut smallest = None;
    for &systems in sizes {
        let row = measure(systems);
        let basins = systems * BASINS.len();
        let base = *smallest.get_or_insert(row.loaded_mib);
        println!(
            "| {systems} | {basins} | {:.2} | {:.1} | {:.0} | {:.2} | {:.0} | {:.1} | {:.2} | {:.2} | {:.1} |",
            row.first_start_s,
            row.idle_mib,
            row.per_second,
            row.cpu_s_per_100k,
            row.bytes_a_reading,
            row.loaded_mib,
            (row.loaded_mib - base) * 1024.0 / basins as f64,
            row.again_s,
            row.again_mib
        );
    }
    println!();
}

/// Fills a backlog, has the daemon empty it, and starts the daemon again.
fn measure(systems: usize) -> Row {
    let broker = Mosquitto::with("max_queued_bytes 0");
    let folder = tempfile::tempdir().expect("a folder");
    let yards = Yards::write(folder.path(), systems, broker.port(), "");
    let began = Instant::now();
    let daemon = yards.start();
    until(PATIENCE, "the daemon serves", || daemon.is_ready());
    let first_start_s = began.elapsed().as_secs_f64();
    let idle_mib = memory_mib(daemon.process.id(), "VmRSS");
    daemon.end();

    let probes = systems * BASINS.len();
    let readings = READINGS.max(2 * probes);
    let now = basinward::clock::Clock::wall().now().millis() / 1_000;
    let rounds = readings.div_ceil(probes) as i64;
    let at = |n: usize| now - 60 * EVERY_MIN * (rounds - (n / probes) as i64);
    let backlog = (0..readings).map(|n| yards.reading(n, at(n)));
    let filled = broker.device().publish_all(backlog, WINDOW);
    assert_eq!(filled.acknowledged, readings, "{:?}", filled.ended_by);

    let daemon = yards.start();
    let before = yards.taken();
    until(PATIENCE, "the first reading is stored", || yards.taken() > before);
    let (first, began) = (yards.taken(), Instant::now());
    let cpu = cpu_seconds(daemon.process.id());
    until(PATIENCE, "every reading is stored", || yards.taken() >= readings as u64);
    let seconds = began.elapsed().as_secs_f64();
    let measured = readings as f64 - first as f64;
    let cpu_s = cpu_seconds(daemon.process.id()) - cpu;
    let loaded_mib = memory_mib(daemon.process.id(), "VmRSS");
    daemon.end();
    let bytes = bytes_in(&yards.data());

    let began = Instant::now();
    let daemon = yards.start();
    until(PATIENCE, "the daemon serves again", || daemon.is_ready());
    let again_s = began.elapsed().as_secs_f64();
    let again_mib = memory_mib(daemon.process.id(), "VmRSS");
    daemon.end();
    Row {
        first_start_s,
        idle_mib,
        per_second: measured / seconds,
        cpu_s_per_100k: cpu_s * 1e5 / measured,
        bytes_a_reading: bytes as f64 / readings as f64,
        loaded_mib,
        again_s,
        again_mib,
    }
}
