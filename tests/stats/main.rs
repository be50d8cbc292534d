//! The mathematics against the world outside: published tables, worked examples, independent libraries, and
//! simulation.

mod charts;
mod decay;
mod detection;
mod distributions;
mod infiltration;
mod litres;
mod log_ratios;
mod noise;
mod oracles;
mod recession;
mod robust;
mod run_lengths;
mod runs_of_water;
mod snapshots;
mod trend;
mod yard;

/// Fails unless `actual` is within `tolerance` of `expected`, saying what was compared.
#[track_caller]
fn assert_close(what: &str, actual: f64, expected: f64, tolerance: f64) {
    assert!((actual - expected).abs() <= tolerance, "{what}: {actual} is not {expected} ± {tolerance}");
}
