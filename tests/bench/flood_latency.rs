//! How soon a flood is told. `cargo bench --bench flood_latency -- [FLOODS]`
//!
//! A daemon, Mosquitto and a webhook sink, all real; more than 5,000 readings a second go on meanwhile. Measured is the
//! time from publishing the reading that completes a flood to the sink having read the whole message.
//! One JSON line; goal: 250 ms for 99 in 100.

use std::fs::{self, File};
use std::process::{Command, Stdio};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::thread;
use std::time::{Duration, Instant};

use basinward::clock::Clock;
use basinward::model::{EventTime, Span};
use serde_json::json;
use support::{Mosquitto, Process, Sink, free_port, until};

const YARDS: usize = 100;
/// As many connections send the load, each a burst of so many readings every so often: 5,200 readings a second.
const DEVICES: usize = 4;
const BURST: usize = 52;
const BETWEEN_BURSTS: Duration = Duration::from_millis(40);
const PATIENCE: Duration = Duration::from_mins(1);

fn main() {
    let floods = std::env::args().skip(1).find_map(|arg| arg.parse().ok()).unwrap_or(200).min(2 * YARDS);
    let (broker, sink) = (Mosquitto::with("max_queued_bytes 0"), Sink::start());
    let folder = tempfile::tempdir().expect("a folder");
    write_yards(folder.path(), &sink);
    let log = folder.path().join("log");
    let mut command = Command::new(env!("CARGO_BIN_EXE_basinward"));
    command
        .arg("run")
        .current_dir(folder.path())
        .env("BASINWARD__MQTT__BROKER", format!("mqtt://127.0.0.1:{}", broker.port()))
        .env("BASINWARD__DESK__LISTEN", format!("127.0.0.1:{}", free_port()))
        .stdout(Stdio::null())
        .stderr(File::create(&log).expect("a log"));
    let _daemon = Process::start(&mut command);
    let listens = || fs::read_to_string(&log).is_ok_and(|text| text.contains("listening to the broker"));
    until(PATIENCE, "the daemon listens", listens);

    let (sent, enough) = (Arc::new(AtomicUsize::new(0)), Arc::new(AtomicBool::new(false)));
    let load = (0..DEVICES).map(|device_no| {
        let (sent, enough, mut device) = (Arc::clone(&sent), Arc::clone(&enough), broker.device());
        // Each device begins elsewhere, so that no two send the same series at one time.
        let mut from = device_no * 2 * YARDS / DEVICES;
        thread::spawn(move || {
            let began = Instant::now();
            for bursts in 1.. {
                if enough.load(Ordering::Relaxed) {
                    break;
                }
                let burst = (from..from + BURST).map(reading);
                let progress = device.publish_all(burst, 200);
                sent.fetch_add(progress.acknowledged, Ordering::Relaxed);
                from += BURST;
                // By the clock, so that a burst that took long is made up for.
                thread::sleep((BETWEEN_BURSTS * bursts).saturating_sub(began.elapsed()));
            }
        })
    });
    let load: Vec<_> = load.collect();
    thread::sleep(Duration::from_secs(3));
    let (began, before) = (Instant::now(), sent.load(Ordering::Relaxed));
    let mut device = broker.device();
    let mut latencies_ms: Vec<f64> = Vec::new();
    for flood in 0..floods {
        let (yard, basin) = (flood / 2, if flood % 2 == 0 { "quince" } else { "fig" });
        let topic = format!("greywater/yard-{yard}/{basin}/overflow");
        let now = Clock::wall().now();
        let wet = |at: EventTime| json!({ "value": "wet", "time": at.to_string() }).to_string();
        // Two minutes make a flood. The second reading is dated ahead, so that nothing but itself can complete it now.
        device.publish(&topic, wet(now - Span::from_secs(110)).as_bytes()).expect("acknowledged");
        thread::sleep(Duration::from_millis(100));
        let published = Instant::now();
        device.publish(&topic, wet(now + Span::from_secs(20)).as_bytes()).expect("acknowledged");
        let subject = format!("yard-{yard}/basin:{basin}");
        let told = || sink.posts().into_iter().find(|post| post.body.contains(&subject));
        until(PATIENCE, "the flood is told", || told().is_some());
        let at = told().expect("just seen").at;
        latencies_ms.push(at.duration_since(published).as_secs_f64() * 1000.0);
    }
    let rate = (sent.load(Ordering::Relaxed) - before) as f64 / began.elapsed().as_secs_f64();
    enough.store(true, Ordering::Relaxed);
    for device in load {
        device.join().expect("the load was sent");
    }
    latencies_ms.sort_by(f64::total_cmp);
    let quantile = |q: f64| latencies_ms[((latencies_ms.len() - 1) as f64 * q).round() as usize].round();
    println!(
        "{}",
        json!({ "case": "flood to webhook", "floods": floods, "readings_per_s": rate.round(), "p50_ms": quantile(0.5),
            "p90_ms": quantile(0.9), "p99_ms": quantile(0.99), "p999_ms": quantile(0.999), "max_ms": quantile(1.0) })
    );
}

fn write_yards(folder: &std::path::Path, sink: &Sink) {
    fs::create_dir(folder.join("systems")).expect("a folder");
    for yard in 0..YARDS {
        let mut text = format!(
            "id = \"yard-{yard}\"\nname = \"Yard {yard}\"\nproperty = \"home-{yard}\"\ntimezone = \"UTC\"\nsoil = \"loam\"\n\
             [[splitter]]\nid = \"s1\"\nfeeds = [\"quince\", \"fig\"]\n"
        );
        for basin in ["quince", "fig"] {
            text.extend([format!(
                "[[basin]]\nid = \"{basin}\"\narea_m2 = 1.2\noverflow = {{ height_mm = 260 }}\nmoisture = {{ depth_mm = 250 }}\n"
            )]);
        }
        fs::write(folder.join(format!("systems/yard-{yard}.toml")), text).expect("writes");
    }
    let settings = format!(
        "[channels.hook]\nkind = \"webhook\"\nurl = \"{}\"\n[contacts.desk]\nchannels = [\"hook\"]\nmost_an_hour = 3600\n\
         [routes.floods]\ntell = [\"desk\"]\nseverity = \"critical\"\n",
        sink.url()
    );
    fs::write(folder.join("basinward.toml"), settings).expect("writes");
}

/// Reading `n` of the load, at its time of arrival.
fn reading(n: usize) -> (String, String) {
    let (yard, basin) = (n / 2 % YARDS, if n.is_multiple_of(2) { "quince" } else { "fig" });
    let value = 0.2 + 0.0001 * (n % 997) as f64;
    (format!("greywater/yard-{yard}/{basin}/moisture"), format!("{value:.4}"))
}
