//! Streaming robust estimates on simulated signals.

use basinward::stats::robust::{LocationScale, Noise as NoiseEstimate, Quantile, median_and_deviation};

use crate::assert_close;
use crate::noise::Noise;

#[test]
fn location_and_scale_of_clean_noise_are_right() {
    let mut noise = Noise::seeded(1);
    let mut estimate = LocationScale::new(2_000.0, 0.0);
    for _ in 0..20_000 {
        estimate.observe(5.0 + 0.3 * noise.normal());
    }
    assert_close("location", estimate.location().expect("fed"), 5.0, 0.02);
    assert_close("scale", estimate.scale().expect("fed"), 0.3, 0.01);
}

#[test]
fn one_value_in_ten_may_be_wild() {
    let mut noise = Noise::seeded(2);
    let mut estimate = LocationScale::new(2_000.0, 0.0);
    for i in 0..20_000 {
        let wild = if i % 10 == 0 { 1e6 } else { 0.0 };
        estimate.observe(noise.normal() + wild);
    }
    // A tenth on one side moves Huber's location by about 0.1 × 2 / 0.9 deviations and swells the scale
    // somewhat.
    assert_close("location", estimate.location().expect("fed"), 0.0, 0.35);
    assert_close("scale", estimate.scale().expect("fed"), 1.0, 0.45);
}

#[test]
fn a_changed_scale_is_followed_within_the_memory() {
    let mut noise = Noise::seeded(3);
    let mut estimate = LocationScale::new(100.0, 0.0);
    for _ in 0..1_000 {
        estimate.observe(noise.normal());
    }
    for _ in 0..600 {
        estimate.observe(4.0 * noise.normal());
    }
    assert_close("scale", estimate.scale().expect("fed"), 4.0, 0.8);
}

/// A signal that falls, ripples daily and jumps now and then; the noise of its readings is 0.002.
#[test]
fn noise_is_told_from_recession_ripple_and_jumps() {
    let mut noise = Noise::seeded(4);
    let mut estimate = NoiseEstimate::new(500.0, 1e-4);
    for i in 0..2_000 {
        let hours = f64::from(i) / 12.0;
        let since_jump = hours % 8.0;
        let signal =
            0.2 + 0.08 * (-since_jump / 3.0).exp() + 0.01 * (hours * std::f64::consts::TAU / 24.0).sin();
        estimate.observe(hours, signal + 0.002 * noise.normal());
    }
    assert_close("noise", estimate.deviation().expect("fed"), 0.002, 0.0003);
}

#[test]
fn p2_quantiles_of_a_normal_stream() {
    let mut noise = Noise::seeded(5);
    let mut estimates = [0.1, 0.5, 0.9].map(Quantile::new);
    for _ in 0..20_000 {
        let value = noise.normal();
        for estimate in &mut estimates {
            estimate.observe(value);
        }
    }
    for (estimate, expected) in estimates.iter().zip([-1.2816, 0.0, 1.2816]) {
        assert_close("quantile", estimate.value().expect("fed"), expected, 0.04);
    }
}

/// The factor 1.4826 makes the median absolute deviation consistent on normal data (Hampel 1974).
#[test]
fn the_scaled_median_deviation_is_the_standard_deviation_of_normal_data() {
    let mut noise = Noise::seeded(6);
    let mut values: Vec<f64> = (0..20_000).map(|_| 10.0 + 2.0 * noise.normal()).collect();
    let (centre, deviation) = median_and_deviation(&mut values);
    assert_close("median", centre, 10.0, 0.05);
    assert_close("deviation", deviation, 2.0, 0.05);
}
