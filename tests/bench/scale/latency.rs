//! From publishing the reading that completes a flood to the event on an open page, and to the webhook.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::process::{Command, Stdio};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};

use basinward::clock::Clock;
use basinward::model::Span;
use serde_json::{Value, json};
use support::{Mosquitto, Sink, until};

use crate::yards::{BASINS, PATIENCE, Running, Yards};

/// Yards that send the load; those after them are flooded.
const LOADING: usize = 5_000;
/// Floods at each load, unless told otherwise.
const FLOODS: usize = 200;
/// As many connections send the load.
const DEVICES: usize = 4;
const BURSTS_A_SECOND: usize = 50;
const WINDOW: usize = 1_000;
const SHARES: [usize; 3] = [10, 50, 90];
/// For how long the ceiling is looked for.
const FULL_BLAST: Duration = Duration::from_secs(8);
const PASSWORD: &str = "a long pass phrase";

pub(crate) fn print(ceiling: Option<usize>, floods: Option<usize>) {
    let floods = floods.unwrap_or(FLOODS);
    let (broker, sink) = (Mosquitto::with("max_queued_bytes 0"), Sink::start());
    let folder = tempfile::tempdir().expect("a folder");
    let settings = format!(
        "[channels.hook]\nkind = \"webhook\"\nurl = \"{}\"\n[contacts.desk]\nchannels = [\"hook\"]\nmost_an_hour = 3600\n\
         [routes.floods]\ntell = [\"desk\"]\nseverity = \"critical\"\n",
        sink.url()
    );
    let flooded = (SHARES.len() * floods).div_ceil(BASINS.len());
    let yards = Yards::write(folder.path(), LOADING + flooded, broker.port(), &settings);
    let daemon = yards.start();
    until(PATIENCE, "the daemon serves", || daemon.is_ready());
    let cookie = sign_in(folder.path(), &daemon);
    let ceiling = ceiling.unwrap_or_else(|| find_ceiling(&broker, &yards));
    println!(
        "Goal: 250 ms to the webhook for 99 in 100. The ceiling is {ceiling} readings a second, of {} systems.",
        yards.systems
    );
    println!("A page is told at most every 200 ms while something changes all the time.\n");
    println!("| load | readings/s | to | floods | p50 ms | p99 ms | p99.9 ms | most ms |");
    println!("|--:|--:|---|--:|--:|--:|--:|--:|");
    let mut next = LOADING * BASINS.len();
    for share in SHARES {
        let load = Load::start(&broker, ceiling * share / 100);
        thread::sleep(Duration::from_secs(3));
        let (began, before) = (Instant::now(), load.sent());
        let (mut page_ms, mut hook_ms) = (Vec::new(), Vec::new());
        for _ in 0..floods {
            let (page, hook) = flood(next, &broker, &daemon, &cookie, &sink);
            page_ms.push(page);
            hook_ms.push(hook);
            next += 1;
        }
        let rate = (load.sent() - before) as f64 / began.elapsed().as_secs_f64();
        load.end();
        row(share, rate, "page", &mut page_ms);
        row(share, rate, "webhook", &mut hook_ms);
        until(PATIENCE, "the load is stored", || is_quiet(&yards));
    }
    println!();
    daemon.end();
}

fn row(share: usize, rate: f64, to: &str, ms: &mut [f64]) {
    ms.sort_by(f64::total_cmp);
    let quantile = |q: f64| ms[((ms.len() - 1) as f64 * q).round() as usize];
    println!(
        "| {share} % | {rate:.0} | {to} | {} | {:.0} | {:.0} | {:.0} | {:.0} |",
        ms.len(),
        quantile(0.5),
        quantile(0.99),
        quantile(0.999),
        quantile(1.0)
    );
}

/// Floods basin `n`; milliseconds until the open page of its system is told, and until the webhook is.
fn flood(n: usize, broker: &Mosquitto, daemon: &Running, cookie: &str, sink: &Sink) -> (f64, f64) {
    let (system, basin) = (n / BASINS.len(), BASINS[n % BASINS.len()]);
    let topic = format!("greywater/load-{system}/{basin}/overflow");
    let now = Clock::wall().now();
    let wet = |at: basinward::model::EventTime| json!({ "value": "wet", "time": at.to_string() }).to_string();
    let mut device = broker.device();
    // Two minutes make a flood. The second reading is dated ahead, so that nothing but itself can complete it now.
    device.publish(&topic, wet(now - Span::from_secs(100)).as_bytes()).expect("acknowledged");
    // Long enough that the first reading is drawn already, and the page is no longer held back on its account.
    thread::sleep(Duration::from_millis(250));
    let mut page = Page::open(daemon.desk, cookie, &format!("load-{system}"));
    page.wait_for(|_| true);
    let published = Instant::now();
    device.publish(&topic, wet(now + Span::from_secs(30)).as_bytes()).expect("acknowledged");
    let page = thread::spawn(move || {
        page.wait_for(|event| event["parts"].as_array().is_none_or(|parts| !parts.is_empty()));
        published.elapsed()
    });
    let subject = format!("load-{system}/basin:{basin}");
    let told = || sink.posts().into_iter().rev().find(|post| post.body.contains(&subject));
    until(PATIENCE, "the flood is told", || told().is_some());
    let hook = told().expect("just seen").at.duration_since(published);
    let page = page.join().expect("the page is told");
    (page.as_secs_f64() * 1000.0, hook.as_secs_f64() * 1000.0)
}

/// An open page that is told what changes.
struct Page {
    events: BufReader<TcpStream>,
}

impl Page {
    fn open(desk: u16, cookie: &str, system: &str) -> Self {
        let mut stream = TcpStream::connect(("127.0.0.1", desk)).expect("the desk listens");
        let head = format!(
            "GET /live?system={system} HTTP/1.1\r\nHost: 127.0.0.1:{desk}\r\nCookie: {cookie}\r\n\r\n"
        );
        stream.write_all(head.as_bytes()).expect("asks");
        Self { events: BufReader::new(stream) }
    }

    /// Reads on until an event is as wanted.
    fn wait_for(&mut self, mut wanted: impl FnMut(&Value) -> bool) {
        let mut line = String::new();
        loop {
            line.clear();
            assert_ne!(self.events.read_line(&mut line).expect("the stream goes on"), 0, "it ended");
            let event = line.strip_prefix("data:").and_then(|data| serde_json::from_str(data.trim()).ok());
            if event.is_some_and(|event| wanted(&event)) {
                return;
            }
        }
    }
}

/// Readings at an even rate, until it is ended.
struct Load {
    sent: Arc<AtomicUsize>,
    enough: Arc<AtomicBool>,
    devices: Vec<JoinHandle<()>>,
}

impl Load {
    fn start(broker: &Mosquitto, a_second: usize) -> Self {
        let (sent, enough) = (Arc::new(AtomicUsize::new(0)), Arc::new(AtomicBool::new(false)));
        let burst = a_second.div_ceil(DEVICES * BURSTS_A_SECOND);
        let began_s = Clock::wall().now().millis() / 1000 - 3600;
        let devices = (0..DEVICES).map(|no| {
            let (sent, enough, mut device) = (Arc::clone(&sent), Arc::clone(&enough), broker.device());
            thread::spawn(move || {
                let began = Instant::now();
                let mut n = 0;
                for bursts in 1.. {
                    if enough.load(Ordering::Relaxed) {
                        break;
                    }
                    let progress =
                        device.publish_all((n..n + burst).map(|n| of_load(no, n, began_s)), WINDOW);
                    sent.fetch_add(progress.acknowledged, Ordering::Relaxed);
                    n += burst;
                    // By the clock, so that a burst that took long is made up for.
                    let due = Duration::from_secs(bursts) / BURSTS_A_SECOND as u32;
                    thread::sleep(due.saturating_sub(began.elapsed()));
                }
            })
        });
        let devices = devices.collect();
        Self { sent, enough, devices }
    }

    fn sent(&self) -> usize {
        self.sent.load(Ordering::Relaxed)
    }

    fn end(self) {
        self.enough.store(true, Ordering::Relaxed);
        self.devices.into_iter().for_each(|device| device.join().expect("the load was sent"));
    }
}

/// Reading `n` of a device: of the probes that are its own in turn, each a second after its last.
fn of_load(device: usize, n: usize, began_s: i64) -> (String, String) {
    let probes = LOADING * BASINS.len() / DEVICES;
    let (round, probe) = (n / probes, device * probes + n % probes);
    let (system, basin) = (probe / BASINS.len(), BASINS[probe % BASINS.len()]);
    let value = 0.35 - 0.0005 * ((round + system) % 200) as f64;
    let at = began_s + round as i64;
    (format!("greywater/load-{system}/{basin}/moisture"), format!("{{\"value\":{value:.4},\"time\":{at}}}"))
}

/// Readings a second that the daemon stores when everybody sends as fast as they can.
fn find_ceiling(broker: &Mosquitto, yards: &Yards) -> usize {
    let load = Load::start(broker, 10_000_000);
    thread::sleep(Duration::from_secs(2));
    let (began, before) = (Instant::now(), yards.taken());
    thread::sleep(FULL_BLAST);
    let rate = (yards.taken() - before) as f64 / began.elapsed().as_secs_f64();
    load.end();
    until(PATIENCE, "the backlog is stored", || is_quiet(yards));
    rate as usize
}

/// Nothing more comes in.
fn is_quiet(yards: &Yards) -> bool {
    let before = yards.taken();
    thread::sleep(Duration::from_millis(500));
    yards.taken() == before
}

/// Lets somebody in; the cookie of their browser.
fn sign_in(folder: &std::path::Path, daemon: &Running) -> String {
    let mut command = Command::new(env!("CARGO_BIN_EXE_basinward"));
    command.args(["person", "add", "Maria", "--role", "owner"]).current_dir(folder);
    let mut child = command.stdin(Stdio::piped()).stdout(Stdio::null()).spawn().expect("it runs");
    writeln!(child.stdin.take().expect("a pipe"), "{PASSWORD}").expect("it listens");
    assert!(child.wait().expect("it ends").success());
    let mut desk = TcpStream::connect(("127.0.0.1", daemon.desk)).expect("the desk listens");
    let form = format!("name=Maria&password={}", PASSWORD.replace(' ', "+"));
    let head = format!(
        "POST /sign-in HTTP/1.1\r\nHost: 127.0.0.1:{}\r\nConnection: close\r\nContent-Length: {}\r\n\
         Content-Type: application/x-www-form-urlencoded\r\n\r\n{form}",
        daemon.desk,
        form.len()
    );
    desk.write_all(head.as_bytes()).expect("asks");
    let mut answer = String::new();
    desk.read_to_string(&mut answer).expect("an answer");
    let cookie = answer.lines().find_map(|line| line.strip_prefix("set-cookie: "));
    cookie.and_then(|cookie| cookie.split(';').next()).unwrap_or_else(|| panic!("{answer}")).to_owned()
}
