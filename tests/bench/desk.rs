//! What a page costs. `cargo bench --bench desk [-- SYSTEMS…]`
//!
//! Fills a ledger with 1,000 and 2,000 systems of four basins: of each, the last readings of every sensor, two
//! doses and a stay of water a day for a year, and a finding at every tenth. One of them has a year of readings
//! as well, one in 15 minutes from each sensor, and its pages are asked for: what a page reads of the others are
//! their last readings and findings, so that more readings of theirs would not make it dearer. Measured is the
//! time from sending a request to having read the whole answer, with a connection of its own over loopback.

use std::future::pending;
use std::io::{Read, Write};
use std::net::{SocketAddr, TcpStream};
use std::path::Path;
use std::sync::Arc;
use std::thread;
use std::time::{Duration, Instant};

use basinward::clock::Clock;
use basinward::desk::{self, Desk, Entry, LinkNote, SystemFolder};
use basinward::engine::{Change, Dose, Effect, FindingChange, Input, Soak};
use basinward::ledger::{Batch, Ledger, OrderQueue, Orders, RetentionPolicy, SystemNo, View};
use basinward::model::{
    BasinIx, EventTime, Finding, FindingKind, Id, Place, Quantity, Reading, SensorIx, Severity, Span,
    Subject, System, Value,
};
use basinward::schedule::{Upkeep, work_out};
use basinward::systemfile;
use basinward::upkeep::{Crew, Plan, Rules};
use tokio::net::TcpListener;
use tokio::sync::{mpsc, watch};

type Failure = Box<dyn std::error::Error>;

/// Requests of each page that are measured, after one that is not.
const TIMES: usize = 15;
const DAYS: i64 = 365;
/// Systems of one property.
const TOGETHER: usize = 5;

const PLAN: &str = r#"
timezone = "America/Denver"
soil = "loam"
[source]
meter = { litres_per_count = 1.0 }
[[splitter]]
id = "s1"
feeds = ["s2", "s3"]
at = [1.0, 3.0]
[[splitter]]
id = "s2"
feeds = ["quince", "fig"]
at = [3.0, 4.0]
[[splitter]]
id = "s3"
feeds = ["plum", "pear"]
at = [3.0, 2.0]
[[basin]]
id = "quince"
area_m2 = 1.2
at = [6.0, 5.0]
float = {}
moisture = {}
[[basin]]
id = "fig"
area_m2 = 1.2
at = [6.0, 3.5]
float = {}
moisture = {}
[[basin]]
id = "plum"
area_m2 = 1.2
at = [6.0, 2.0]
float = {}
moisture = {}
[[basin]]
id = "pear"
area_m2 = 1.2
at = [6.0, 0.5]
float = {}
moisture = {}
"#;

const PAGES: [(&str, &str); 12] = [
    ("portfolio", "/"),
    ("portfolio, searched", "/?text=quince&state=now"),
    ("system, a week", "/systems/yard-0"),
    ("system, a year", "/systems/yard-0?range=year"),
    ("basin", "/systems/yard-0/basins/quince"),
    ("splitter", "/systems/yard-0/splitters/s1"),
    ("alerts", "/alerts"),
    ("one alert", "/alerts/1"),
    ("timeline, exact", "/systems/yard-0/timeline.json?range=month"),
    ("tasks", "/tasks"),
    ("visits", "/visits"),
    ("visit sheet", "/systems/yard-0/sheet"),
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
    let (address, _served) = serve(folder.path(), view, systems, upkeep)?;
    println!("page                     ms p50     max       bytes  compressed");
    for (name, path) in PAGES {
        let mut times = Vec::new();
        let plain = ask(address, path, "")?.1;
        let mut squeezed = 0;
        for _ in 0..TIMES {
            let clock = Instant::now();
            let (status, bytes) = ask(address, path, "Accept-Encoding: gzip\r\n")?;
            times.push(clock.elapsed().as_secs_f64() * 1e3);
            squeezed = bytes;
            assert_eq!(status, 200, "{path}");
        }
        times.sort_by(f64::total_cmp);
        println!("{name:<22}{:>9.1}{:>8.1}{plain:>12}{squeezed:>12}", times[TIMES / 2], times[TIMES - 1]);
    }
    println!();
    Ok(())
}

fn yard(at: usize) -> System {
    let head = format!(
        "id = \"yard-{at}\"\nname = \"Larkmere, terrace {at}\"\nproperty = \"larkmere-{}\"\n",
        at / TOGETHER
    );
    systemfile::parse(&format!("yard-{at}.toml"), &(head + PLAN)).expect("the plan is plain")
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

/// What must live as long as the pages are asked for.
struct Served {
    _queue: OrderQueue,
    _systems: watch::Sender<Arc<Vec<Arc<System>>>>,
    _commits: watch::Sender<u64>,
    _link: watch::Sender<LinkNote>,
    _upkeep: watch::Sender<Arc<Upkeep>>,
}

fn serve(
    folder: &Path,
    view: View,
    systems: Vec<Arc<System>>,
    upkeep: Upkeep,
) -> Result<(SocketAddr, Served), Failure> {
    let (orders, queue) = Orders::new(|| ());
    let (systems_tx, systems) = watch::channel(Arc::new(systems));
    let (commits_tx, commits) = watch::channel(1);
    let (link_tx, link) = watch::channel(LinkNote::default());
    let (upkeep_tx, upkeep) = watch::channel(Arc::new(upkeep));
    let files =
        SystemFolder { folder: folder.to_owned(), prefix: "greywater".into(), changed: mpsc::channel(1).0 };
    let desk = Desk {
        systems,
        view,
        commits,
        orders,
        clock: Clock::wall(),
        banner: None,
        files,
        entry: Entry::LetIn,
        seal: None,
        link,
        pages: String::new(),
        export: None,
        upkeep,
    };
    let runtime = tokio::runtime::Runtime::new()?;
    let listener = runtime.block_on(TcpListener::bind("127.0.0.1:0"))?;
    let address = listener.local_addr()?;
    thread::spawn(move || runtime.block_on(desk::serve(listener, None, desk, pending())));
    let served = Served {
        _queue: queue,
        _systems: systems_tx,
        _commits: commits_tx,
        _link: link_tx,
        _upkeep: upkeep_tx,
    };
    Ok((address, served))
}

/// Status of the answer, and bytes of its body.
fn ask(address: SocketAddr, path: &str, lines: &str) -> Result<(u16, usize), Failure> {
    let mut peer = TcpStream::connect(address)?;
    peer.set_read_timeout(Some(Duration::from_secs(30)))?;
    write!(peer, "GET {path} HTTP/1.0\r\nHost: localhost\r\n{lines}\r\n")?;
    let mut answer = Vec::new();
    peer.read_to_end(&mut answer)?;
    let head = answer.windows(4).position(|four| four == b"\r\n\r\n").ok_or("no head")?;
    let status = std::str::from_utf8(&answer[9..12])?.parse()?;
    Ok((status, answer.len() - head - 4))
}
