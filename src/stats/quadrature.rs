//! Gauss–Legendre quadrature.

use std::f64::consts::PI;

/// A node of a quadrature rule and its weight.
#[derive(Clone, Copy)]
pub(super) struct Node {
    pub(super) at: f64,
    pub(super) weight: f64,
}

/// The `count`-point Gauss–Legendre rule on `[low, high]`; nodes are the roots of the Legendre polynomial, by
/// Newton's method from the classical cosine estimate (Abramowitz & Stegun 22.16.6).
pub(super) fn gauss_legendre(count: usize, low: f64, high: f64) -> Vec<Node> {
    let half = 0.5 * (high - low);
    let middle = 0.5 * (high + low);
    (0..count)
        .map(|i| {
            let mut x = (PI * (i as f64 + 0.75) / (count as f64 + 0.5)).cos();
            let mut slope = 1.0;
            for _ in 0..20 {
                let (value, derivative) = legendre(count, x);
                slope = derivative;
                let step = value / derivative;
                x -= step;
                if step.abs() < 1e-15 {
                    break;
                }
            }
            Node { at: middle - half * x, weight: half * 2.0 / ((1.0 - x * x) * slope * slope) }
        })
        .collect()
}

/// Legendre polynomial of the given degree at `x`, and its derivative.
fn legendre(degree: usize, x: f64) -> (f64, f64) {
    let (mut before, mut value) = (1.0, x);
    for k in 2..=degree {
        let k = k as f64;
        (before, value) = (value, ((2.0 * k - 1.0) * x * value - (k - 1.0) * before) / k);
    }
    (value, degree as f64 * (x * value - before) / (x * x - 1.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_n_point_rule_is_exact_for_polynomials_of_degree_2n_minus_1() {
        let integral: f64 = gauss_legendre(5, 1.0, 3.0).iter().map(|n| n.weight * n.at.powi(9)).sum();
        assert!((integral - (3.0_f64.powi(10) - 1.0) / 10.0).abs() < 1e-9);
    }
}
