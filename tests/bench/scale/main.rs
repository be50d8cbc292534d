//! How cost grows with the number of systems, and how soon a reading is seen. Prints tables for DEVELOPERS.md.
//!
//! ```text
//! cargo bench --bench scale -- growth [SYSTEMS …]     default 10 1000 10000 50000 100000
//! cargo bench --bench scale -- latency [READINGS_A_SECOND [FLOODS]]    the ceiling, measured first if not given
//! ```
//!
//! Everything is real: the daemon, Mosquitto, a client of the event stream, a webhook's receiver.

#[path = "../pipeline/measure.rs"]
mod measure;

mod growth;
mod latency;
mod yards;

fn main() {
    let args: Vec<String> = std::env::args().skip(1).filter(|arg| !arg.starts_with("--")).collect();
    let numbers: Vec<usize> = args.iter().filter_map(|arg| arg.parse().ok()).collect();
    println!("{}\n", measure::machine());
    match args.first().map(String::as_str) {
        Some("latency") => latency::print(numbers.first().copied(), numbers.get(1).copied()),
        Some("growth") => growth::print(&numbers),
        _ => {
            growth::print(&[]);
            latency::print(None, None);
        }
    }
}
