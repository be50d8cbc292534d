//! CPU that a year of one system costs in `replay`: four basins, every sensor each five minutes.
//!
//! `cargo bench --bench replay` prints it; nothing is asserted.

use std::fmt::Write as _;
use std::fs;
use std::sync::Arc;

use basinward::model::{EventTime, Span};
use basinward::replay::{Options, replay};
use basinward::systemfile;

const YARD: &str = r#"
id = "yard"
name = "Yard"
timezone = "America/Denver"
soil = "sandy-loam"
[source]
meter = { litres_per_count = 1.0 }
[rain]
mm_per_count = 0.2
[[splitter]]
id = "s1"
feeds = ["s2", "s3"]
[[splitter]]
id = "s2"
feeds = ["b0", "b1"]
[[splitter]]
id = "s3"
feeds = ["b2", "b3"]
"#;

const BASINS: usize = 4;
const DAYS: i64 = 365;
/// A shower or a load of laundry every eight hours, in readings.
const DOSE_EVERY: i64 = 96;

fn system_file() -> String {
    let basin = |b| format!("[[basin]]\nid = \"b{b}\"\narea_m2 = 1.2\nfloat = {{}}\nmoisture = {{}}\n");
    (0..BASINS).fold(YARD.to_owned(), |text, b| text + &basin(b))
}

/// Wettings that drain away, with a little noise; floats up for twenty minutes after each.
fn recording() -> String {
    let mut text = String::new();
    let start: EventTime = "2025-01-01T00:00:00Z".parse().expect("a time");
    for step in 0..DAYS * 288 {
        let at = start + Span::from_mins(5 * step);
        let since_dose = step % DOSE_EVERY;
        let mut say = |sensor: &str, value: &str| {
            writeln!(
                text,
                r#"{{"received":"{at}","topic":"greywater/yard/{sensor}","payload":"{{\"value\":{value},\"time\":\"{at}\"}}"}}"#
            )
            .expect("writing to a string cannot fail");
        };
        for b in 0..BASINS as i64 {
            let wetting = if since_dose > 3 { 0.05 * (-(since_dose - 3) as f64 / 60.0).exp() } else { 0.0 };
            let noise = 0.001 * ((step * 31 + b * 17) % 7 - 3) as f64;
            say(&format!("b{b}/moisture"), &format!("{:.4}", 0.22 + wetting + noise));
            say(&format!("b{b}/float"), if (1..5).contains(&since_dose) { "true" } else { "false" });
        }
        say("meter", &(60 * (step / DOSE_EVERY)).to_string());
        say("rain", "0");
    }
    text
}

/// Seconds of CPU that this process has used, after `/proc/self/stat` (proc(5), fields 14 and 15).
fn cpu_s() -> f64 {
    let stat = fs::read_to_string("/proc/self/stat").expect("Linux");
    let fields: Vec<&str> = stat.rsplit(')').next().unwrap_or_default().split_whitespace().collect();
    let ticks: f64 = [11, 12].iter().filter_map(|&i| fields.get(i)?.parse::<f64>().ok()).sum();
    ticks / 100.0
}

fn main() {
    let system = Arc::new(systemfile::parse("yard.toml", &system_file()).expect("a sound system file"));
    let recording = recording();
    let before = cpu_s();
    let mut told = Vec::new();
    replay(
        &[system],
        "greywater",
        recording.as_bytes(),
        Options { doses: true, forecast: false, until: None },
        &mut told,
    )
    .expect("a sound recording");
    let spent = cpu_s() - before;
    let summary = String::from_utf8_lossy(&told);
    println!("{}", summary.lines().last().unwrap_or_default());
    println!(
        "a system-year: {} messages, {spent:.2} s of CPU, {:.2} µs a message",
        recording.lines().count(),
        spent * 1e6 / recording.lines().count() as f64
    );
}
