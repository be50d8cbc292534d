//! Sequential tests in simulation: how often they are wrong, how late they are, and how good their estimates.
//!
//! The simulated limits on delay are Lorden's (1971), ln(ARL)/KL, times 1.3; seeds are fixed.

use basinward::stats::cusum::{self, Cusum};
use basinward::stats::glr::{self, Change, Glr, ONSET_COVERAGE, step_limit};
use basinward::stats::lorden;

use crate::assert_close;
use crate::noise::Noise;

const ARL: f64 = 500.0;

fn glr(least_observations: u32) -> Glr {
    Glr::new(glr::Design { candidates: 32, span: f64::INFINITY, least_observations })
}

/// Feeds observations number 1, 2, … until `found` says so; the number of the last one.
fn run_until(mut found: impl FnMut(u32) -> bool) -> u32 {
    (1..1_000_000).find(|&i| found(i)).expect("every run ends")
}

fn mean_of(runs: u32, mut run: impl FnMut() -> f64) -> f64 {
    (0..runs).map(|_| run()).sum::<f64>() / f64::from(runs)
}

fn step_found(glr: &Glr, limit: f64) -> Option<Change> {
    glr.step(0.0).filter(|change| change.evidence > limit)
}

#[test]
fn the_step_limit_gives_the_wanted_run_length() {
    let mut noise = Noise::seeded(101);
    for (wanted, runs) in [(100.0, 400), (1_000.0, 150)] {
        let limit = step_limit(wanted);
        let mean = mean_of(runs, || {
            let mut glr = glr(1);
            f64::from(run_until(|i| {
                glr.observe(f64::from(i), noise.normal(), 1.0);
                step_found(&glr, limit).is_some()
            }))
        });
        // Dropped candidates make false signals a little rarer than the formula for all of them.
        assert!(mean > 0.85 * wanted && mean < 1.5 * wanted, "{mean} for {wanted}");
    }
}

#[test]
fn the_run_length_does_not_depend_on_how_precise_each_observation_is() {
    let mut noise = Noise::seeded(102);
    let limit = step_limit(200.0);
    let mean = mean_of(300, || {
        let mut glr = glr(1);
        f64::from(run_until(|i| {
            let deviation = [0.2, 1.0, 3.0, 0.5][i as usize % 4];
            glr.observe(f64::from(i), deviation * noise.normal(), deviation * deviation);
            step_found(&glr, limit).is_some()
        }))
    });
    assert!(mean > 0.85 * 200.0 && mean < 1.6 * 200.0, "{mean}");
}

#[test]
fn testing_for_steps_and_drifts_together_keeps_the_run_length() {
    let mut noise = Noise::seeded(103);
    let limit = step_limit(200.0);
    let mean = mean_of(300, || {
        let mut glr = glr(2);
        f64::from(run_until(|i| {
            glr.observe(f64::from(i), noise.normal(), 1.0);
            step_found(&glr, limit).or(glr.drift(0.0).filter(|change| change.evidence > limit)).is_some()
        }))
    });
    assert!(mean > 0.8 * 200.0 && mean < 1.5 * 200.0, "{mean}");
}

/// The goal for steps: no later than 1.3 times Lorden's bound, with the size of the step unknown to the test.
#[test]
fn glr_delay_is_within_1_3_of_lordens_bound() {
    let mut noise = Noise::seeded(104);
    let limit = step_limit(ARL);
    for shift in [0.5, 1.0, 1.5] {
        let bound = lorden::asymptotic_delay(ARL, shift);
        let delay = mean_of(400, || {
            let mut glr = glr(1);
            for before in 0..50 {
                glr.observe(f64::from(before) - 50.0, noise.normal(), 1.0);
            }
            f64::from(run_until(|i| {
                glr.observe(f64::from(i), shift + noise.normal(), 1.0);
                step_found(&glr, limit).is_some()
            }))
        });
        assert!(delay < 1.3 * bound, "shift {shift}: {delay} against {bound}");
    }
}

/// With unequal variances the information of an observation is δ²/2v, and the bound holds for its mean.
#[test]
fn glr_delay_counts_information_when_precision_varies() {
    let mut noise = Noise::seeded(105);
    let limit = step_limit(ARL);
    let variances = [0.25, 1.0, 4.0];
    let information = variances.iter().map(|v| 0.5 / v).sum::<f64>() / 3.0;
    let delay = mean_of(400, || {
        let mut glr = glr(1);
        f64::from(run_until(|i| {
            let variance: f64 = variances[i as usize % 3];
            glr.observe(f64::from(i), 0.8 + variance.sqrt() * noise.normal(), variance);
            step_found(&glr, limit).is_some()
        }))
    });
    let bound = ARL.ln() / (0.64 * information);
    assert!(delay < 1.3 * bound, "{delay} against {bound}");
}

/// The CUSUM that knows the size of the step is the quickest there is (Moustakides 1986), so it also checks
/// the bound.
#[test]
fn cusum_delay_is_the_least_possible_and_glr_comes_close() {
    let mut noise = Noise::seeded(106);
    for shift in [0.5, 1.0, 1.5] {
        let design = cusum::Design::for_shift(shift, ARL);
        let delay = mean_of(2_000, || {
            let mut cusum = Cusum::new(design);
            f64::from(run_until(|i| cusum.observe(f64::from(i), shift + noise.normal()).is_some()))
        });
        let least = lorden::least_delay(ARL, shift);
        assert_close(&format!("shift {shift}"), delay / least, 1.0, 0.05);
        assert!(delay < 1.3 * lorden::asymptotic_delay(ARL, shift));
    }
}

#[test]
fn onset_and_size_of_a_step_hold_within_their_ranges() {
    let mut noise = Noise::seeded(107);
    let runs = 500;
    let (mut within_range, mut within_interval) = (0, 0);
    for _ in 0..runs {
        let mut glr = glr(2);
        for i in 0..150 {
            let shift = if i >= 100 { 0.9 } else { 0.0 };
            glr.observe(f64::from(i), shift + noise.normal(), 1.0);
        }
        let change = glr.step(0.0).expect("150 observations");
        within_range += i32::from(change.onset_range.contains(100.0));
        within_interval += i32::from((change.size - 0.9).powi(2) < 1.2816_f64.powi(2) * change.variance);
    }
    let share = |count: i32| f64::from(count) / f64::from(runs);
    assert_close("onset", share(within_range), ONSET_COVERAGE, 0.1);
    assert_close("size", share(within_interval), 0.8, 0.06);
}

/// A drift of 0.02 deviations an observation: the quickest conceivable test, told the onset and the slope,
/// gathers Σ (0.02 i)²/2 of information, which reaches ln(ARL) after about 45 observations.
#[test]
fn a_slow_drift_is_found_and_measured() {
    let mut noise = Noise::seeded(108);
    let limit = step_limit(ARL);
    let slope = 0.02;
    let runs = 300;
    let (mut within_range, mut slopes, mut delays) = (0, 0.0, 0.0);
    for _ in 0..runs {
        let mut glr = glr(3);
        for before in 0..60 {
            glr.observe(f64::from(before) - 60.0, noise.normal(), 1.0);
        }
        let delay = run_until(|i| {
            glr.observe(f64::from(i), slope * f64::from(i) + noise.normal(), 1.0);
            glr.drift(0.0).is_some_and(|change| change.evidence > limit)
        });
        for i in delay + 1..delay + 60 {
            glr.observe(f64::from(i), slope * f64::from(i) + noise.normal(), 1.0);
        }
        let change = glr.drift(0.0).expect("the drift goes on");
        delays += f64::from(delay) / f64::from(runs);
        slopes += change.size / f64::from(runs);
        within_range += i32::from(change.onset_range.contains(0.0));
    }
    assert_close("mean slope", slopes, slope, 0.002);
    assert!(delays < 1.3 * 45.0, "{delays}");
    assert!(f64::from(within_range) / f64::from(runs) > 0.7, "{within_range} of {runs}");
}

/// Offline segmentation on a fixed series, the Python package `ruptures` 1.1.10 (Dynp, l2): the change is at
/// index 8.
#[test]
fn the_onset_of_a_plain_series_is_where_ruptures_puts_it() {
    let series = [5.1, 4.9, 5.0, 5.2, 4.8, 5.1, 5.0, 4.9, 6.2, 6.0, 6.1, 5.9, 6.3, 6.0, 6.1, 6.2];
    let mut glr = glr(1);
    for (i, value) in series.into_iter().enumerate() {
        glr.observe(i as f64, value - 5.0, 0.02);
    }
    let change = glr.step(0.0).expect("sixteen values");
    assert_close("onset", change.onset, 8.0, 0.0);
    assert_close("size", change.size, 1.1, 1e-9);
}
