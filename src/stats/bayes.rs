//! Weighing explanations against each other: log weights, probabilities, penalties and calibration.

/// ln Σ exp(wᵢ), without overflow; −∞ for an empty slice.
pub fn log_sum_exp(log_weights: &[f64]) -> f64 {
    let top = log_weights.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    if !top.is_finite() {
        return top;
    }
    top + log_weights.iter().map(|w| (w - top).exp()).sum::<f64>().ln()
}

/// Replaces log weights by probabilities that sum to one; equal ones where no weight is finite.
pub fn normalise(log_weights: &mut [f64]) {
    let total = log_sum_exp(log_weights);
    let equal = 1.0 / log_weights.len() as f64;
    for weight in log_weights {
        *weight = if total.is_finite() { (*weight - total).exp() } else { equal };
    }
}

/// What the Bayesian information criterion (Schwarz 1978) takes from a log likelihood for `parameters` fitted
/// to `observations`: ½ p ln n.
pub fn schwarz_penalty(parameters: u32, observations: u32) -> f64 {
    0.5 * f64::from(parameters) * f64::from(observations.max(1)).ln()
}

/// ln(p / (1 − p)).
pub fn logit(probability: f64) -> f64 {
    probability.ln() - (-probability).ln_1p()
}

/// 1 / (1 + exp(−x)), the inverse of [`logit`].
pub fn logistic(x: f64) -> f64 {
    if x >= 0.0 {
        1.0 / (1.0 + (-x).exp())
    } else {
        let e = x.exp();
        e / (1.0 + e)
    }
}

/// Platt's (1999) correction of a probability: slope and offset on its logit; slope 1 and offset 0 change
/// nothing.
pub fn platt(probability: f64, slope: f64, offset: f64) -> f64 {
    logistic(slope * logit(probability) + offset)
}

/// A calibration map given by its knots, evaluated at `x`: straight between knots, flat beyond the ends.
///
/// Knots rise in their first member; an isotonic fit rises (weakly) in the second too. `NaN` without knots.
pub fn piecewise_linear(knots: &[(f64, f64)], x: f64) -> f64 {
    let above = knots.partition_point(|knot| knot.0 <= x);
    match (above.checked_sub(1).and_then(|below| knots.get(below)), knots.get(above)) {
        (Some(&(x0, y0)), Some(&(x1, y1))) => y0 + (y1 - y0) * (x - x0) / (x1 - x0),
        (Some(&(_, y)), None) | (None, Some(&(_, y))) => y,
        (None, None) => f64::NAN,
    }
}

#[cfg(test)]
#[expect(clippy::float_cmp, reason = "these results are exact")]
mod tests {
    use super::*;

    #[test]
    fn weights_too_large_for_exp_still_become_probabilities() {
        let mut weights = [-2000.0, -2000.0 + 3.0_f64.ln(), f64::NEG_INFINITY];
        normalise(&mut weights);
        assert!((weights[0] - 0.25).abs() < 1e-12 && (weights[1] - 0.75).abs() < 1e-12 && weights[2] == 0.0);
        let mut hopeless = [f64::NEG_INFINITY; 4];
        normalise(&mut hopeless);
        assert_eq!(hopeless, [0.25; 4]);
    }

    #[test]
    fn logistic_undoes_logit_to_the_far_tails() {
        for p in [1e-12, 0.02, 0.5, 0.98] {
            assert!((logistic(logit(p)) / p - 1.0).abs() < 1e-12);
            assert!((platt(p, 1.0, 0.0) / p - 1.0).abs() < 1e-12);
        }
        assert_eq!((logistic(-800.0), logistic(800.0)), (0.0, 1.0));
    }

    #[test]
    fn a_calibration_map_is_flat_outside_its_knots() {
        let knots = [(0.0, 0.1), (0.5, 0.4), (1.0, 0.9)];
        let at = |x| piecewise_linear(&knots, x);
        assert_eq!((at(-1.0), at(0.5), at(2.0)), (0.1, 0.4, 0.9));
        assert!((at(0.25) - 0.25).abs() < 1e-12 && (at(0.75) - 0.65).abs() < 1e-12);
        assert!(piecewise_linear(&[], 0.3).is_nan());
    }
}
