//! How long it takes, after an upgrade that remembers other things of a system, until every engine has learnt anew from
//! the stored readings.
//!
//! Run with `cargo bench --bench relearn [-- DAYS [SYSTEMS]]`; 60 and 400 days of 8 systems unless given. Four basins,
//! every sensor each five minutes. Nothing is asserted.

use std::fs;
use std::path::Path;
use std::sync::Arc;
use std::time::Instant;

use basinward::engine::Input;
use basinward::intake::{Decoded, Router};
use basinward::ledger::{Batch, Ledger, RetentionPolicy};
use basinward::model::{EventTime, Span, System};
use basinward::run::Steward;
use basinward::systemfile;
use simulators::radio::Message;
use simulators::scenario::{Library, Scenario, ScenarioError};
use simulators::span::Span as Simulated;

type Failure = Box<dyn std::error::Error>;

const SCENARIO: &str = "healthy-family";
const DAYS: [i64; 2] = [60, 400];
const SYSTEMS: usize = 8;
/// A snapshot that no program can use.
const UNUSABLE: [u8; 8] = [0xff; 8];

fn main() -> Result<(), Failure> {
    // Cargo adds `--bench`.
    let mut given = std::env::args().skip(1).filter(|argument| !argument.starts_with("--"));
    let days = given.next().map(|days| days.parse()).transpose()?;
    let systems = given.next().map_or(Ok(SYSTEMS), |systems| systems.parse())?;
    for days in days.map_or(DAYS.to_vec(), |days| vec![days]) {
        measure(days, systems)?;
    }
    Ok(())
}

fn measure(days: i64, systems: usize) -> Result<(), Failure> {
    let mut scenario = Library::shipped().load(SCENARIO)?;
    scenario.duration = Simulated::days(days);
    let every = Simulated::minutes(5);
    let sensors = &mut scenario.sensors;
    (sensors.moisture.every, sensors.float.heartbeat, sensors.temperature.every) = (every, every, every);
    (sensors.meter.every, sensors.rain.every, sensors.battery.every) = (every, every, every);
    let folder = tempfile::tempdir()?;
    let plans = plans(&scenario, systems)?;
    let readings = fill(folder.path(), &scenario, &plans)?;

    let ledger = Ledger::open(folder.path())?;
    let (clock, cpu) = (Instant::now(), cpu_s());
    let steward = Steward::open(ledger, &plans, "greywater")?;
    let (took, spent) = (clock.elapsed().as_secs_f64(), cpu_s() - cpu);
    let each = systems as f64;
    println!(
        "{days} days of {systems} systems, {readings} readings: {took:.2} s, {:.3} s of CPU a system, {:.2} µs a reading",
        spent / each,
        spent * 1e6 / readings as f64
    );
    drop(steward);
    Ok(())
}

fn plans(scenario: &Scenario, systems: usize) -> Result<Vec<Arc<System>>, Failure> {
    let plan = |n| {
        let id = format!("{}-{n}", scenario.wiring.system);
        let text = scenario.system_text.replacen(&scenario.wiring.system, &id, 1);
        let plan = systemfile::parse(&format!("{id}.toml"), &text).map_err(|faults| format!("{faults:?}"))?;
        Ok(Arc::new(plan))
    };
    (0..systems).map(plan).collect()
}

/// Stores what the yard's sensors say, for every system the same, with upkeep and snapshots that cannot be used.
fn fill(folder: &Path, scenario: &Scenario, plans: &[Arc<System>]) -> Result<usize, Failure> {
    let mut ledger = Ledger::open(folder)?;
    let numbers = ledger.enrol(plans.iter().map(|plan| &**plan))?;
    let recovery = ledger.recover()?;
    ledger.replay(&recovery, |_| ())?;
    let file = format!("{}.toml", scenario.wiring.system);
    let yard = systemfile::parse(&file, &scenario.system_text).map_err(|faults| format!("{faults:?}"))?;
    let router = Router::new(&[Arc::new(yard)], "greywater");
    let (mut batch, mut decoded, mut readings) = (Batch::default(), Decoded::default(), 0);
    let mut store = |batch: &mut Batch, now: EventTime| -> Result<(), Failure> {
        for number in &numbers {
            batch.save(*number, UNUSABLE.to_vec());
        }
        ledger.commit(batch)?;
        batch.clear();
        while ledger.retain(now, &RetentionPolicy::default())?.more {}
        Ok(())
    };
    let mut since = EventTime::from_millis(scenario.start_ms);
    let mut hear = |message: &Message| -> Result<(), Hearing> {
        let received = EventTime::from_millis(message.received_ms);
        router.decode(received, &message.topic, &message.payload, &mut decoded);
        for (_, reading) in decoded.readings.drain(..) {
            batch.count_message(received);
            for number in &numbers {
                batch.take_in(*number, received, Input::Reading(reading));
            }
            readings += numbers.len();
        }
        if received - since > Span::from_hours(6) {
            since = received;
            store(&mut batch, received)?;
        }
        Ok(())
    };
    simulators::run::run::<Hearing>(scenario, 1, &mut hear, &mut |_| ())?;
    store(&mut batch, EventTime::from_millis(scenario.end_ms()))?;
    Ok(readings)
}

/// What may go wrong while the yard is listened to.
#[derive(Debug, thiserror::Error)]
enum Hearing {
    #[error(transparent)]
    Scenario(#[from] ScenarioError),
    #[error(transparent)]
    Other(#[from] Failure),
}

/// Seconds of CPU that this process has used, after `/proc/self/stat` (proc(5), fields 14 and 15).
fn cpu_s() -> f64 {
    let stat = fs::read_to_string("/proc/self/stat").expect("Linux");
    let fields: Vec<&str> = stat.rsplit(')').next().unwrap_or_default().split_whitespace().collect();
    let ticks: f64 = [11, 12].iter().filter_map(|&i| fields.get(i)?.parse::<f64>().ok()).sum();
    ticks / 100.0
}
