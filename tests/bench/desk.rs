//! What a page costs. `cargo bench --bench desk [-- SYSTEMS…]`
//!
//! Fills a ledger with 1,000 and 2,000 systems of four basins: of each, the last readings of every sensor, two
//! doses and a stay of water a day for a year, and a finding at every tenth. One of them has a year of readings
//! as well, one in 15 minutes from each sensor, and its pages are asked for: what a page reads of the others are
//! their last readings and findings, so that more readings of theirs would not make it dearer. Measured is the
//! time from sending a request to having read the whole answer, with a connection of its own over loopback.

#[path = "../pages/house.rs"]
mod house;

use std::path::Path;
use std::sync::Arc;
use std::thread;
use std::time::{Duration, Instant};

use basinward::clock::Clock;
use basinward::desk::Entry;
use basinward::engine::{Change, Dose, Effect, FindingChange, Input, Soak};
use basinward::ledger::{Batch, Ledger, RetentionPolicy, SystemNo, View};
use basinward::model::{
    BasinIx, EventTime, Finding, FindingKind, Id, Place, Quantity, Reading, SensorIx, Severity, Span,
    Subject, System, Value,
};
use basinward::schedule::work_out;
use basinward::systemfile::Folder;
use basinward::upkeep::{Crew, Plan, Rules};

use house::{Failure, Served, terrace};

/// Requests of each page that are measured, after one that is not.
const TIMES: usize = 15;
const DAYS: i64 = 365;
/// Longer than a board serves after it was drawn.
const REST: Duration = Duration::from_millis(450);
/// Systems of one property.
const TOGETHER: usize = 5;

/// Names and addresses; `{year}` is the present one.
const PAGES: [(&str, &str); 27] = [
    ("portfolio", "/"),
    ("portfolio, searched", "/?text=quince&state=now"),
    ("system, a week", "/systems/yard-0"),
    ("system, a year", "/systems/yard-0?range=year"),
    ("basin", "/systems/yard-0/basins/quince"),
    ("splitter", "/systems/yard-0/splitters/s1"),
    ("sensor", "/systems/yard-0/sensors/quince/moisture"),
    ("sensors", "/systems/yard-0/sensors"),
    ("sensors in doubt", "/sensors"),
    ("alerts", "/alerts"),
    ("one alert", "/alerts/1"),
    ("timeline, exact", "/systems/yard-0/timeline.json?range=month"),
    ("tasks", "/tasks"),
    ("visits", "/visits"),
    ("visit sheet", "/systems/yard-0/sheet"),
    ("sheet of a property", "/properties/larkmere-0/sheet"),
    ("yearly record", "/systems/yard-0/years/{year}"),
    ("record of a property", "/properties/larkmere-0/years/{year}"),
    ("received, as CSV", "/systems/yard-0/received.csv"),
    ("service record", "/systems/yard-0/services"),
    ("found and done", "/systems/yard-0/record?at=basin:quince"),
    ("flow tests", "/systems/yard-0/tests"),
    ("labels", "/systems/yard-0/labels"),
    ("set-up", "/setup"),
    ("heard and refused", "/heard"),
    ("people", "/people"),
    ("account", "/account"),
];

fn main() -> Result<(), Failure> {
    let given: Vec<usize> = std::env::args().skip(1).filter_map(|given| given.parse().ok()).collect();
    let sizes = if given.is_empty() { vec![1_000, 2_000] } else { given };
    for systems in sizes {
        measure(systems)?;
    }
    Ok(())
}

fn measure(count: usize) -> Result<(), Failure> {
    let folder = tempfile::tempdir()?;
    let systems: Vec<Arc<System>> = (0..count).map(yard).map(Arc::new).collect();
    let clock = Instant::now();
    let now = Clock::wall().now();
    fill(folder.path(), &systems, now)?;
    let view = View::open(folder.path())?;
    println!("{count} systems; filling took {:.0} s", clock.elapsed().as_secs_f64());
    let clock = Instant::now();
    let upkeep = work_out(&view, &systems, (&Rules::default(), &Crew::default()), &Plan::default(), now)?;
    println!("tasks and visits were worked out in {:.1} s", clock.elapsed().as_secs_f64());
    let found = Folder { systems, faulty: Vec::new() };
    let served = Served::start(folder.path(), (view, Entry::LetIn), found, upkeep, Clock::wall())?;
    println!("page                     ms p50     max       bytes  compressed");
    drawn_anew(&served)?;
    let year = now.to_string().chars().take(4).collect::<String>();
    for (name, path) in PAGES {
        let path = &path.replace("{year}", &year);
        let mut times = Vec::new();
        let plain = served.ask(path, "")?.body.len();
        let mut squeezed = 0;
        for _ in 0..TIMES {
            let clock = Instant::now();
            let answer = served.ask(path, "Accept-Encoding: gzip\r\n")?;
            times.push(clock.elapsed().as_secs_f64() * 1e3);
            squeezed = answer.body.len();
            assert_eq!(answer.status, 200, "{path}");
        }
        times.sort_by(f64::total_cmp);
        println!("{name:<22}{:>9.1}{:>8.1}{plain:>12}{squeezed:>12}", times[TIMES / 2], times[TIMES - 1]);
    }
    println!();
    Ok(())
}

/// The first page is kept until something is committed: what it costs to draw all of it, and to draw it after a commit.
fn drawn_anew(served: &Served) -> Result<(), Failure> {
    let timed = || {
        let clock = Instant::now();
        let answer = served.ask("/", "")?;
        Ok::<_, Failure>((clock.elapsed().as_secs_f64() * 1e3, answer.body.len()))
    };
    let (first, bytes) = timed()?;
    println!("{:<22}{first:>9.1}{:>8}{bytes:>12}", "portfolio, first time", "");
    let mut times = Vec::new();
    for _ in 0..TIMES {
        served.commit();
        thread::sleep(REST);
        times.push(timed()?.0);
    }
    times.sort_by(f64::total_cmp);
    let (p50, max) = (times[TIMES / 2], times[TIMES - 1]);
    println!("{:<22}{p50:>9.1}{max:>8.1}{bytes:>12}", "portfolio, drawn anew");
    Ok(())
}

fn yard(at: usize) -> System {
    let property = format!("larkmere-{}", at / TOGETHER);
    terrace(&format!("yard-{at}"), &format!("Larkmere, terrace {at}"), &property, true)
}

/// Moisture probes and floats.
fn sensors(system: &System) -> Vec<(SensorIx, Quantity)> {
    let places = system.basin_ixs().map(Place::Basin);
    let all =
        places.flat_map(|place| [Quantity::Moisture, Quantity::Float].map(|quantity| (place, quantity)));
    all.filter_map(|(place, quantity)| Some((system.find_sensor(place, quantity)?, quantity))).collect()
}

fn fill(folder: &Path, systems: &[Arc<System>], now: EventTime) -> Result<(), Failure> {
    let mut ledger = Ledger::open(folder)?;
    let numbers = ledger.enrol(systems.iter().map(Arc::as_ref))?;
    let mut batch = Batch::default();
    year_of_readings(&mut ledger, numbers[0], &systems[0], now)?;
    for (at, (no, system)) in numbers.iter().zip(systems).enumerate() {
        history(&mut batch, *no, now);
        for (sensor, quantity) in sensors(system) {
            hear(&mut batch, *no, (sensor, quantity), now - Span::MINUTE, at as f64 * 0.618);
        }
        if at % 10 == 0 {
            batch.conclude(*no, Effect::Finding(flood(now)));
        }
        if at % 50 == 49 {
            ledger.commit(&batch)?;
            batch.clear();
        }
    }
    ledger.commit(&batch)?;
    while ledger.retain(now, &RetentionPolicy::default())?.more {}
    Ok(())
}

fn hear(batch: &mut Batch, no: SystemNo, sensor: (SensorIx, Quantity), at: EventTime, phase: f64) {
    let value = if sensor.1 == Quantity::Moisture {
        Value::Number(0.25 + 0.05 * phase.sin())
    } else {
        Value::Wet(phase.sin() > 0.98)
    };
    batch.take_in(no, at, Input::Reading(Reading { sensor: sensor.0, at, value }));
}

fn year_of_readings(
    ledger: &mut Ledger,
    no: SystemNo,
    system: &System,
    now: EventTime,
) -> Result<(), Failure> {
    let mut batch = Batch::default();
    for quarter in 0..DAYS * 96 {
        let at = now - Span::from_days(DAYS) + Span::from_mins(15 * quarter);
        for sensor in sensors(system) {
            hear(&mut batch, no, sensor, at, quarter as f64 / 15.0);
        }
        if quarter % 500 == 499 {
            ledger.commit(&batch)?;
            batch.clear();
        }
    }
    ledger.commit(&batch)?;
    Ok(())
}

/// A year of doses and of water that stood.
fn history(batch: &mut Batch, no: SystemNo, now: EventTime) {
    for half in (1..DAYS * 2).rev() {
        let at = now - Span::from_hours(12 * half);
        let lean = 0.02 * (half as f64).sin();
        let shares = [0.25 + lean, 0.25 - lean, 0.25, 0.25];
        let shares = (0..4).map(BasinIx).zip(shares).collect();
        batch.conclude(no, Effect::Dose(Dose { at, litres: Some(80.0), shares, quality: 0.9 }));
        if half % 2 == 0 {
            let lasted = Span::from_mins(60 + half % 40);
            batch.conclude(no, Effect::Soak(Soak { basin: BasinIx(0), began: at, lasted }));
        }
    }
}

fn flood(now: EventTime) -> FindingChange {
    let finding = Finding {
        kind: FindingKind::Flooding,
        subject: Subject::Basin(Id::new("quince").expect("it is an id")),
        severity: Severity::Critical,
        probability: 0.97,
        estimate: serde_json::Map::new(),
        evidence: Vec::new(),
    };
    FindingChange { change: Change::Raised, at: now - Span::from_hours(3), finding }
}
