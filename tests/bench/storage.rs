//! Disk that a year of history takes, and how long it takes to read.
//!
//! Run with `cargo bench --bench storage [-- SCENARIO…]`. A year of a simulated yard goes through the ledger as the
//! daemon would write it: a commit an hour, with upkeep after each. Nothing is asserted.

use std::path::Path;
use std::sync::Arc;
use std::time::{Duration, Instant};

use basinward::engine::Input;
use basinward::intake::{Decoded, Router};
use basinward::ledger::{Batch, Ledger, Resolution, RetentionPolicy, SystemNo, View};
use basinward::model::{EventTime, Id, Span, System};
use basinward::systemfile;
use rusqlite::Connection;
use simulators::scenario::{Library, Scenario, ScenarioError};

type Failure = Box<dyn std::error::Error>;

/// Every 15 minutes with the ordinary noise; every minute; probes of several makers; none with a common clock.
const SCENARIOS: [&str; 3] = ["healthy-family", "healthy-minute", "healthy-mixed-makers"];
const LIVES_UNTIL: Span = Span::from_days(365);

fn main() -> Result<(), Failure> {
    // Cargo adds `--bench`.
    let mut given: Vec<String> =
        std::env::args().skip(1).filter(|argument| !argument.starts_with("--")).collect();
    if given.is_empty() {
        given = SCENARIOS.map(str::to_owned).into();
    }
    for name in given {
        year(&Library::shipped().load(&name)?)?;
    }
    Ok(())
}

fn year(scenario: &Scenario) -> Result<(), Failure> {
    let mut scenario = scenario.clone();
    scenario.duration = simulators::span::Span::days(LIVES_UNTIL.millis() / Span::DAY.millis());
    let folder = tempfile::tempdir()?;
    let system = Arc::new(
        systemfile::parse(&format!("{}.toml", scenario.wiring.system), &scenario.system_text)
            .map_err(|faults| format!("{faults:?}"))?,
    );
    let mut writer = Writer::new(folder.path(), &system)?;
    let mut messages = Vec::new();
    simulators::run::run::<ScenarioError>(
        &scenario,
        1,
        &mut |message| {
            messages.push(message.clone());
            Ok(())
        },
        &mut |_| (),
    )?;
    for message in &messages {
        writer.hear(EventTime::from_millis(message.received_ms), &message.topic, &message.payload)?;
    }
    writer.commit()?;
    let end = EventTime::from_millis(scenario.end_ms());
    println!("{}: {} messages", scenario.name, messages.len());
    report(folder.path(), &system.id, end)?;
    println!("{:>12.1} ms  the longest that one call of upkeep kept commits waiting", millis(writer.longest));
    println!("{:>12.1} s   all upkeep of the year", writer.upkeep.as_secs_f64());
    println!();
    Ok(())
}

/// Writes what it hears, an hour at a time.
struct Writer {
    ledger: Ledger,
    router: Router,
    system: SystemNo,
    batch: Batch,
    decoded: Decoded,
    began: Option<EventTime>,
    longest: Duration,
    upkeep: Duration,
}

impl Writer {
    fn new(folder: &Path, system: &Arc<System>) -> Result<Self, Failure> {
        let mut ledger = Ledger::open(folder)?;
        let number = ledger.enrol([system.as_ref()])?[0];
        let recovery = ledger.recover()?;
        ledger.replay(&recovery, |_| ())?;
        Ok(Self {
            ledger,
            router: Router::new(std::slice::from_ref(system), "greywater"),
            system: number,
            batch: Batch::default(),
            decoded: Decoded::default(),
            began: None,
            longest: Duration::ZERO,
            upkeep: Duration::ZERO,
        })
    }

    fn hear(&mut self, received: EventTime, topic: &str, payload: &[u8]) -> Result<(), Failure> {
        if received - *self.began.get_or_insert(received) > Span::HOUR {
            self.commit()?;
            self.keep_house(received)?;
            self.began = Some(received);
        }
        self.router.decode(received, topic, payload, &mut self.decoded);
        self.batch.count_message(received);
        for (_, reading) in self.decoded.readings.drain(..) {
            self.batch.take_in(self.system, received, Input::Reading(reading));
        }
        Ok(())
    }

    fn commit(&mut self) -> Result<(), Failure> {
        self.batch.save(self.system, vec![7; 4096]);
        self.ledger.commit(&self.batch)?;
        self.batch.clear();
        Ok(())
    }

    fn keep_house(&mut self, now: EventTime) -> Result<(), Failure> {
        loop {
            let clock = Instant::now();
            let more = self.ledger.retain(now, &RetentionPolicy::default())?.more;
            let took = clock.elapsed();
            self.upkeep += took;
            self.longest = self.longest.max(took);
            if !more {
                return Ok(());
            }
        }
    }
}

fn millis(time: Duration) -> f64 {
    time.as_secs_f64() * 1e3
}

fn report(folder: &Path, system: &Id, end: EventTime) -> Result<(), Failure> {
    let db = Connection::open(folder.join("ledger.db"))?;
    let number = |sql: &str| db.query_row(sql, [], |row| row.get::<_, f64>(0));
    let size = |table: &str| {
        number(&format!(
            "SELECT cast(coalesce(sum(pgsize), 0) AS REAL) FROM dbstat WHERE name IN
             (SELECT name FROM sqlite_schema WHERE tbl_name = '{table}')"
        ))
    };
    let (packed, loose) = (
        number("SELECT cast(sum(count) AS REAL) FROM packed")?,
        number("SELECT cast(count(*) AS REAL) FROM readings")?,
    );
    let week_ago = (end - Span::from_days(7)).millis();
    let old = number(&format!("SELECT cast(count(*) AS REAL) FROM readings WHERE at < {week_ago}"))?;
    let history = size("packed")? + size("hours")? + size("days")?;
    println!("{:>12.2}     bytes a packed reading ({packed} of them)", size("packed")? / packed);
    println!("{:>12.2}     bytes a reading, with the roll-ups by hour and day", history / packed);
    println!(
        "{:>12.2}     bytes a reading that is not packed yet ({loose}, {old} of them older than a week)",
        size("readings")? / loose
    );
    let used = number(
        "SELECT cast((SELECT page_count FROM pragma_page_count) - (SELECT freelist_count FROM pragma_freelist_count) AS REAL) * 4096",
    )?;
    println!("{:>12.2}     bytes a reading of everything in the file", used / (packed + loose));
    let view = View::open(folder)?;
    let latest = view.latest(Some(system))?;
    let probe = latest.iter().find(|it| it.sensor.ends_with("/moisture")).ok_or("no probe")?;
    let year = |resolution| view.history(system, &probe.sensor, end - Span::from_days(365), end, resolution);
    for (resolution, what) in
        [(Resolution::Raw, "readings"), (Resolution::Hour, "hours"), (Resolution::Day, "days")]
    {
        let mut times: Vec<Duration> = Vec::new();
        let mut bins = 0;
        for _ in 0..9 {
            let clock = Instant::now();
            bins = year(resolution)?.len();
            times.push(clock.elapsed());
        }
        let first = times[0];
        times.sort();
        println!(
            "{:>12.1} ms  to read a year of {}: {bins} {what} (the first time {:.1} ms)",
            millis(times[4]),
            probe.sensor,
            millis(first)
        );
    }
    Ok(())
}
