//! The standard normal distribution.

use std::f64::consts::{FRAC_1_SQRT_2, PI};

/// Density at `z`.
pub fn density(z: f64) -> f64 {
    (-0.5 * z * z).exp() / (2.0 * PI).sqrt()
}

/// Probability below `z`; keeps its relative accuracy far into the lower tail.
pub fn cumulative(z: f64) -> f64 {
    0.5 * libm::erfc(-z * FRAC_1_SQRT_2)
}

/// Probability above `z`; keeps its relative accuracy far into the upper tail.
pub fn tail(z: f64) -> f64 {
    cumulative(-z)
}

/// The value with probability `p` below it; infinite at 0 and 1, `NaN` outside.
///
/// Starts from the rational approximation 26.2.23 of Abramowitz & Stegun (1964), good to 4.5e-4, and polishes
/// it with Halley's method to within a few units of the last place.
pub fn quantile(p: f64) -> f64 {
    if p > 0.5 {
        return -lower_quantile(1.0 - p);
    }
    lower_quantile(p)
}

fn lower_quantile(p: f64) -> f64 {
    if !(0.0..=0.5).contains(&p) {
        return f64::NAN;
    }
    if p == 0.0 {
        return f64::NEG_INFINITY;
    }
    let t = (-2.0 * p.ln()).sqrt();
    let numerator = 2.515_517 + t * (0.802_853 + t * 0.010_328);
    let denominator = 1.0 + t * (1.432_788 + t * (0.189_269 + t * 0.001_308));
    let mut z = numerator / denominator - t;
    for _ in 0..3 {
        let step = (cumulative(z) - p) / density(z);
        z -= step / (1.0 + 0.5 * z * step);
    }
    z
}

/// Half the width of the central interval that holds probability `coverage`, in standard deviations.
pub fn half_width(coverage: f64) -> f64 {
    -quantile(0.5 * (1.0 - coverage))
}

#[cfg(test)]
#[expect(clippy::float_cmp, reason = "these results are exact")]
mod tests {
    use super::*;

    #[test]
    fn quantile_undoes_cumulative_across_the_whole_range() {
        for p in [1e-300, 1e-20, 1e-6, 0.01, 0.3, 0.5, 0.7, 0.99] {
            assert!((cumulative(quantile(p)) / p - 1.0).abs() < 1e-12, "p = {p}");
        }
    }

    #[test]
    fn arguments_outside_the_domain_give_nan_or_infinity() {
        assert!(quantile(-0.1).is_nan() && quantile(1.1).is_nan() && quantile(f64::NAN).is_nan());
        assert_eq!(quantile(0.0), f64::NEG_INFINITY);
        assert_eq!(quantile(1.0), f64::INFINITY);
    }
}
