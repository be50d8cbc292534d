//! First-order decay, M = M₀ exp(−k t), and the Q₁₀ temperature rule.

use std::f64::consts::LN_2;

/// Fraction left after `time` at `rate` a unit of time.
pub fn fraction_left(rate: f64, time: f64) -> f64 {
    (-rate * time).exp()
}

/// Time until half is left.
pub fn half_life(rate: f64) -> f64 {
    LN_2 / rate
}

/// Time until `fraction` (above 0, up to 1) is left.
pub fn time_until(rate: f64, fraction: f64) -> f64 {
    -fraction.ln() / rate
}

/// The rate that leaves `fraction` after `time`.
pub fn rate_from(fraction: f64, time: f64) -> f64 {
    -fraction.ln() / time
}

/// Factor on a rate at `temperature` relative to `reference` (both °C), when 10 K multiply the rate by `q10`.
pub fn q10_factor(q10: f64, temperature: f64, reference: f64) -> f64 {
    q10.powf((temperature - reference) / 10.0)
}
