//! Student's t distribution.

use std::f64::consts::PI;

use super::normal;

/// Probability below `t` with `freedom` degrees of freedom (any positive number).
///
/// Abramowitz & Stegun 26.7.1 through the regularised incomplete beta function; relative error below 1e-12.
pub fn cumulative(t: f64, freedom: f64) -> f64 {
    if freedom.is_nan() || freedom <= 0.0 || t.is_nan() {
        return f64::NAN;
    }
    let x = freedom / (freedom + t * t);
    let both_tails = incomplete_beta(0.5 * freedom, 0.5, x);
    if t > 0.0 { 1.0 - 0.5 * both_tails } else { 0.5 * both_tails }
}

/// The value with probability `p` below it; infinite at 0 and 1, `NaN` outside or for `freedom` not above 0.
pub fn quantile(p: f64, freedom: f64) -> f64 {
    if p > 0.5 {
        return -lower_quantile(1.0 - p, freedom);
    }
    lower_quantile(p, freedom)
}

/// Newton's method inside a bracket that every step narrows; a step that leaves the bracket is replaced by a
/// bisection.
fn lower_quantile(p: f64, freedom: f64) -> f64 {
    if !(0.0..=0.5).contains(&p) || freedom.is_nan() || freedom <= 0.0 {
        return f64::NAN;
    }
    if p == 0.0 {
        return f64::NEG_INFINITY;
    }
    let mut low = normal::quantile(p).min(-1.0);
    while cumulative(low, freedom) > p && low.is_finite() {
        low *= 2.0;
    }
    let mut high = 0.0;
    let mut t = normal::quantile(p);
    for _ in 0..200 {
        let excess = cumulative(t, freedom) - p;
        if excess > 0.0 {
            high = t;
        } else {
            low = t;
        }
        let newton = t - excess / density(t, freedom);
        let next = if newton > low && newton < high { newton } else { 0.5 * (low + high) };
        if (next - t).abs() <= 1e-14 * t.abs() {
            return next;
        }
        t = next;
    }
    t
}

fn density(t: f64, freedom: f64) -> f64 {
    let half = 0.5 * freedom;
    let scale = libm::lgamma(half + 0.5) - libm::lgamma(half) - 0.5 * (freedom * PI).ln();
    (scale - (half + 0.5) * (t * t / freedom).ln_1p()).exp()
}

/// Regularised incomplete beta function by its continued fraction (Abramowitz & Stegun 26.5.8), evaluated
/// with the modified Lentz method.
fn incomplete_beta(a: f64, b: f64, x: f64) -> f64 {
    if x <= 0.0 {
        return 0.0;
    }
    if x >= 1.0 {
        return 1.0;
    }
    // The fraction converges fast only below the mean of the distribution; above it the mirror image does.
    if x > (a + 1.0) / (a + b + 2.0) {
        return 1.0 - incomplete_beta(b, a, 1.0 - x);
    }
    let front = libm::lgamma(a + b) - libm::lgamma(a) - libm::lgamma(b) + a * x.ln() + b * (-x).ln_1p();
    front.exp() / a * beta_fraction(a, b, x)
}

fn beta_fraction(a: f64, b: f64, x: f64) -> f64 {
    const TINY: f64 = 1e-300;
    let away_from_zero = |v: f64| if v.abs() < TINY { TINY } else { v };
    let mut c = 1.0;
    let mut d = 1.0 / away_from_zero(1.0 - (a + b) * x / (a + 1.0));
    let mut value = d;
    for m in 1..=300 {
        let m = f64::from(m);
        let even = m * (b - m) * x / ((a + 2.0 * m - 1.0) * (a + 2.0 * m));
        let odd = -(a + m) * (a + b + m) * x / ((a + 2.0 * m) * (a + 2.0 * m + 1.0));
        let mut change = 1.0;
        for term in [even, odd] {
            d = 1.0 / away_from_zero(1.0 + term * d);
            c = away_from_zero(1.0 + term / c);
            change = c * d;
            value *= change;
        }
        if (change - 1.0).abs() < 1e-15 {
            break;
        }
    }
    value
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quantile_undoes_cumulative() {
        for freedom in [0.7, 1.0, 2.0, 5.0, 30.0, 1e4] {
            for p in [1e-6, 0.01, 0.2, 0.5, 0.9, 0.999] {
                let back = cumulative(quantile(p, freedom), freedom);
                assert!((back - p).abs() < 1e-11, "p = {p}, freedom = {freedom}: {back}");
            }
        }
    }

    #[test]
    fn one_degree_of_freedom_is_the_cauchy_distribution() {
        for p in [0.01_f64, 0.25, 0.6, 0.975] {
            let exact = (PI * (p - 0.5)).tan();
            assert!((quantile(p, 1.0) - exact).abs() < 1e-10 * exact.abs().max(1.0));
        }
    }

    #[test]
    fn arguments_outside_the_domain_give_nan() {
        assert!(quantile(1.5, 3.0).is_nan() && quantile(0.4, 0.0).is_nan() && cumulative(0.0, -1.0).is_nan());
    }
}
