//! Numbers told with as many figures as they are known to.

/// `value` to two figures, for what was estimated and not measured.
pub fn two_figures(value: f64) -> f64 {
    if value <= 0.0 {
        return value;
    }
    let step = 10f64.powf(value.log10().floor() - 1.0);
    (value / step).round() * step
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_figures_are_kept_whatever_the_size() {
        for (value, told) in [(1_197.0, 1_200.0), (996.0, 1_000.0), (47.3, 47.0), (4.26, 4.3), (0.0, 0.0)] {
            assert!((two_figures(value) - told).abs() < 1e-9, "{value}");
        }
    }
}
