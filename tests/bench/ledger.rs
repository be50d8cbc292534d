//! Cost of the ledger, beside a bare script that only inserts the same readings with the same promise.
//!
//! Run with `cargo bench --bench ledger [-- READINGS]`. Both write in turns on the same disk, so that whatever
//! else the machine does slows both; the ratio is what counts.

use std::fs;
use std::path::Path;
use std::time::Instant;

use basinward::engine::Input;
use basinward::ledger::{Batch, Ledger, Resolution, RetentionPolicy, SystemNo, View};
use basinward::model::{EventTime, Place, Quantity, Reading, SensorIx, Span, System, Value};
use basinward::systemfile;
use rusqlite::{Connection, TransactionBehavior, params};

type Failure = Box<dyn std::error::Error>;

const START: EventTime = EventTime::from_secs(1_772_323_200);
const SERIES: u64 = 200;
/// Batches that one side writes before the other has its turn.
const TURN: u64 = 20;

fn main() -> Result<(), Failure> {
    // Cargo adds `--bench`.
    let given = std::env::args().skip(1).find_map(|argument| argument.parse().ok());
    let readings = given.unwrap_or(400_000);
    println!(
        "{readings} readings of {SERIES} series, 1 in 50 twice; the ledger also keeps its journal and the"
    );
    println!("latest reading of each series, and marks hours to be rolled up");
    println!();
    println!("batch  side    readings/s  CPU us/reading  commit ms p50     p99   bytes/reading");
    for batch in [500, 2000, 5000] {
        commit(readings, batch)?;
    }
    println!();
    large()
}

/// A system of four basins with a float and a probe in each.
const PLAN: &str = r#"
id = "NAME"
name = "NAME"
timezone = "UTC"
soil = "loam"
[[splitter]]
id = "s1"
feeds = ["s2", "s3"]
[[splitter]]
id = "s2"
feeds = ["b0", "b1"]
[[splitter]]
id = "s3"
feeds = ["b2", "b3"]
[[basin]]
id = "b0"
area_m2 = 1.2
float = { height_mm = 120 }
moisture = { depth_mm = 250 }
[[basin]]
id = "b1"
area_m2 = 1.2
float = { height_mm = 120 }
moisture = { depth_mm = 250 }
[[basin]]
id = "b2"
area_m2 = 1.2
float = { height_mm = 120 }
moisture = { depth_mm = 250 }
[[basin]]
id = "b3"
area_m2 = 1.2
float = { height_mm = 120 }
moisture = { depth_mm = 250 }
"#;

fn system(name: &str) -> System {
    systemfile::parse(&format!("{name}.toml"), &PLAN.replace("NAME", name)).expect("the plan is plain")
}

/// Floats and probes of a system.
fn sensors(system: &System) -> Vec<SensorIx> {
    let places = system.basin_ixs().map(Place::Basin);
    places
        .flat_map(|place| {
            [Quantity::Float, Quantity::Moisture].map(|quantity| system.find_sensor(place, quantity))
        })
        .map(|sensor| sensor.expect("the file has it"))
        .collect()
}

/// Reading number `i`: series, time and value. Every series reports every 5 minutes.
fn reading(i: u64) -> (usize, EventTime, f64) {
    let i = if i % 50 == 49 { i - 1 } else { i };
    let at = START + Span::from_mins(5 * (i / SERIES) as i64);
    ((i % SERIES) as usize, at, (i % 977) as f64 / 1000.0)
}

struct Ours {
    ledger: Ledger,
    series: Vec<(SystemNo, SensorIx)>,
    batch: Batch,
}

impl Ours {
    fn open(folder: &Path) -> Result<Self, Failure> {
        let mut ledger = Ledger::open(folder)?;
        let systems: Vec<System> = (0..SERIES / 8).map(|i| system(&format!("system-{i}"))).collect();
        let numbers = ledger.enrol(&systems)?;
        let all = numbers.iter().zip(&systems);
        let series = all.flat_map(|(no, system)| sensors(system).into_iter().map(|sensor| (*no, sensor)));
        Ok(Self { series: series.collect(), ledger, batch: Batch::default() })
    }

    fn write(&mut self, readings: std::ops::Range<u64>) -> Result<(), Failure> {
        self.batch.clear();
        for i in readings {
            let (series, at, value) = reading(i);
            let (system, sensor) = self.series[series];
            self.batch.count_message(at);
            self.batch.take_in(
                system,
                at,
                Input::Reading(Reading { sensor, at, value: Value::Number(value) }),
            );
        }
        self.ledger.commit(&self.batch)?;
        Ok(())
    }
}

/// Nothing but an insert a reading.
struct Bare {
    db: Connection,
}

impl Bare {
    fn open(folder: &Path) -> Result<Self, Failure> {
        let db = Connection::open(folder.join("bare.db"))?;
        db.execute_batch(
            "PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL; PRAGMA cache_size = -65536;
             PRAGMA wal_autocheckpoint = 4000;
             CREATE TABLE readings (series INTEGER, at INTEGER, value REAL, PRIMARY KEY (series, at)) WITHOUT ROWID",
        )?;
        Ok(Self { db })
    }

    fn write(&mut self, readings: std::ops::Range<u64>) -> Result<(), Failure> {
        let tx = self.db.transaction_with_behavior(TransactionBehavior::Immediate)?;
        let mut insert =
            tx.prepare_cached("INSERT INTO readings VALUES (?1, ?2, ?3) ON CONFLICT DO NOTHING")?;
        for i in readings {
            let (series, at, value) = reading(i);
            insert.execute(params![series, at.millis(), value])?;
        }
        drop(insert);
        tx.commit()?;
        Ok(())
    }
}

/// What one side took.
#[derive(Default)]
struct Cost {
    seconds: Vec<f64>,
    cpu_seconds: f64,
}

impl Cost {
    fn add(&mut self, work: impl FnOnce() -> Result<(), Failure>) -> Result<(), Failure> {
        let (clock, cpu) = (Instant::now(), cpu_seconds());
        work()?;
        self.seconds.push(clock.elapsed().as_secs_f64());
        self.cpu_seconds += cpu_seconds() - cpu;
        Ok(())
    }

    fn total(&self) -> f64 {
        self.seconds.iter().sum()
    }

    fn print(&mut self, batch: u64, side: &str, readings: u64, bytes: u64) {
        self.seconds.sort_by(f64::total_cmp);
        let at = |part: f64| self.seconds[((self.seconds.len() - 1) as f64 * part) as usize] * 1e3;
        let (count, distinct) = (readings as f64, readings as f64 * 0.98);
        println!(
            "{batch:>5}  {side:<6}{:>12.0}{:>16.2}{:>15.2}{:>8.2}{:>16.1}",
            count / self.total(),
            self.cpu_seconds * 1e6 / count,
            at(0.5),
            at(0.99),
            bytes as f64 / distinct,
        );
    }
}

/// Time that this thread spent on a processor, as Linux counts it.
fn cpu_seconds() -> f64 {
    let counted = fs::read_to_string("/proc/thread-self/schedstat").unwrap_or_default();
    let nanoseconds = counted.split(' ').next().and_then(|first| first.parse::<f64>().ok());
    nanoseconds.unwrap_or(f64::NAN) / 1e9
}

fn commit(readings: u64, batch: u64) -> Result<(), Failure> {
    let folder = tempfile::tempdir()?;
    let (mut ours, mut bare) = (Ours::open(folder.path())?, Bare::open(folder.path())?);
    let (mut our_cost, mut bare_cost) = (Cost::default(), Cost::default());
    let batches: Vec<_> = (0..readings / batch).map(|i| i * batch..(i + 1) * batch).collect();
    for turn in batches.chunks(TURN as usize) {
        for readings in turn {
            bare_cost.add(|| bare.write(readings.clone()))?;
        }
        for readings in turn {
            our_cost.add(|| ours.write(readings.clone()))?;
        }
    }
    let length = |name| fs::metadata(folder.path().join(name)).map_or(0, |file| file.len());
    bare_cost.print(batch, "bare", readings, length("bare.db"));
    our_cost.print(batch, "ledger", readings, length("ledger.db"));
    let rate = bare_cost.total() / our_cost.total();
    println!("{batch:>5}  ratio {rate:>12.2}{:>16.2}", our_cost.cpu_seconds / bare_cost.cpu_seconds);
    Ok(())
}

/// Start and pages with 100,000 basins.
fn large() -> Result<(), Failure> {
    let folder = tempfile::tempdir()?;
    let systems: Vec<System> = (0..25_000).map(|i| system(&format!("system-{i}"))).collect();
    println!("with 100,000 basins:");
    let mut ledger = Ledger::open(folder.path())?;
    let numbers = timed("enrol for the first time", || Ok(ledger.enrol(&systems)?))?;
    let mut batch = Batch::default();
    timed("commit one reading of every sensor, and a snapshot of 1 KiB of every system", || {
        for (no, system) in numbers.iter().zip(&systems) {
            for sensor in sensors(system) {
                batch.take_in(
                    *no,
                    START,
                    Input::Reading(Reading { sensor, at: START, value: Value::Number(0.3) }),
                );
            }
            batch.save(*no, vec![7; 1024]);
        }
        Ok(ledger.commit(&batch)?)
    })?;
    batch.clear();
    for (no, system) in numbers.iter().zip(&systems) {
        for sensor in sensors(system) {
            let at = START + Span::MINUTE;
            batch.take_in(*no, at, Input::Reading(Reading { sensor, at, value: Value::Number(0.3) }));
        }
    }
    ledger.commit(&batch)?;
    drop(ledger);

    let mut ledger = timed("open", || Ok(Ledger::open(folder.path())?))?;
    timed("enrol again", || Ok(ledger.enrol(&systems)?))?;
    let recovery = timed("read the snapshots", || Ok(ledger.recover()?))?;
    timed("replay 200,000 inputs", || Ok(ledger.replay(&recovery, |_| ())?))?;
    let view = View::open(folder.path())?;
    timed("read the names and the latest readings", || Ok(view.latest(None)?))?;
    timed("read the latest readings again", || Ok(view.latest(None)?))?;
    timed("read the latest readings of one system", || Ok(view.latest(Some(&systems[7].id))?))?;
    for (what, days) in [("roll up 200,000 hours", 1), ("pack and roll up days", 40)] {
        upkeep(&mut ledger, what, START + Span::from_days(days))?;
    }
    month(folder.path())
}

/// Upkeep until there is nothing more to do at `now`; commits wait no longer than for one call.
fn upkeep(ledger: &mut Ledger, what: &str, now: EventTime) -> Result<(), Failure> {
    let (mut calls, mut total, mut longest) = (0, 0.0, 0.0_f64);
    loop {
        let clock = Instant::now();
        let more = ledger.retain(now, &RetentionPolicy::default())?.more;
        let ms = clock.elapsed().as_secs_f64() * 1e3;
        (calls, total, longest) = (calls + 1, total + ms, longest.max(ms));
        if !more {
            break;
        }
    }
    println!("{longest:>10.2} ms  the longest of {calls} calls of upkeep to {what}, {total:.0} ms in all");
    Ok(())
}

/// A month of one sensor.
fn month(folder: &Path) -> Result<(), Failure> {
    let mut ledger = Ledger::open(&folder.join("month"))?;
    let system = system("one");
    let (no, sensor) = (ledger.enrol([&system])?[0], sensors(&system)[1]);
    let mut batch = Batch::default();
    for i in 0..30 * 288 {
        let at = START + Span::from_mins(5 * i);
        batch.take_in(no, at, Input::Reading(Reading { sensor, at, value: Value::Number(0.3) }));
    }
    ledger.commit(&batch)?;
    let view = View::open(&folder.join("month"))?;
    let read =
        |resolution| view.history(&system.id, "b0/moisture", START, START + Span::from_days(30), resolution);
    timed("read a month of one sensor, 8,640 readings", || Ok(read(Resolution::Raw)?))?;
    timed("read it by hour, not rolled up", || Ok(read(Resolution::Hour)?))?;
    while ledger.retain(START + Span::from_days(31), &RetentionPolicy::default())?.more {}
    timed("read it by hour, rolled up", || Ok(read(Resolution::Hour)?))?;
    Ok(())
}

fn timed<T>(what: &str, work: impl FnOnce() -> Result<T, Failure>) -> Result<T, Failure> {
    let clock = Instant::now();
    let done = work()?;
    println!("{:>10.2} ms  {what}", clock.elapsed().as_secs_f64() * 1e3);
    Ok(done)
}
