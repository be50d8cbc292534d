//! First-order recession y(t) = a + b exp(−t/τ), fitted to a stream of samples in bounded memory.
//!
//! Samples are averaged in bins whose width grows with the time since the start, which keeps the curvature
//! where it is and bounds the number of bins. The fit is separable least squares (Golub & Pereyra 1973): for
//! each time constant the asymptote and amplitude follow linearly, and the time constant with the least
//! residual is searched for.

use serde::{Deserialize, Serialize};

use super::interval::Estimate;
use super::linear::solve;

/// Most bins kept; reached only by streams a few hundred times longer than their first step.
const MOST_BINS: usize = 40;
/// Width of a bin relative to its age.
const GROWTH: f64 = 0.15;

#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
struct Bin {
    first: f64,
    count: u32,
    at: f64,
    value: f64,
}

impl Bin {
    fn absorb(&mut self, later: &Self) {
        let part = f64::from(later.count) / f64::from(self.count + later.count);
        self.at += part * (later.at - self.at);
        self.value += part * (later.value - self.value);
        self.count += later.count;
    }
}

/// The samples of one recession.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Recession {
    bins: Vec<Bin>,
}

/// A fitted recession.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Exponential {
    /// Time from which t counts.
    pub start: f64,
    /// Where it levels out, a.
    pub asymptote: f64,
    /// Height above the asymptote at the start, b.
    pub amplitude: f64,
    /// τ, above 0.
    pub time_constant: f64,
    /// Standard deviation of ln τ.
    pub log_time_constant_deviation: f64,
    /// Variance of one sample about the curve, as the bins show it.
    pub residual_variance: f64,
    /// Covariance of (a, b, ln τ).
    covariance: [[f64; 3]; 3],
}

impl Default for Recession {
    fn default() -> Self {
        Self::new()
    }
}

impl Recession {
    /// A recession without samples. Reserves all the memory it will use.
    pub fn new() -> Self {
        Self { bins: Vec::with_capacity(MOST_BINS) }
    }

    /// Takes one sample, in order of time; one that is not finite changes nothing.
    pub fn observe(&mut self, at: f64, value: f64) {
        if !(at.is_finite() && value.is_finite()) {
            return;
        }
        let sample = Bin { first: at, count: 1, at, value };
        let start = self.bins.first().map_or(at, |bin| bin.first);
        match self.bins.last_mut() {
            Some(bin) if at - bin.first < GROWTH * (at - start) => bin.absorb(&sample),
            _ => {
                if self.bins.len() == MOST_BINS {
                    self.halve();
                }
                self.bins.push(sample);
            }
        }
    }

    /// Joins the bins in pairs.
    fn halve(&mut self) {
        let half = self.bins.len() / 2;
        for i in 0..half {
            let mut joined = self.bins[2 * i];
            joined.absorb(&self.bins[2 * i + 1]);
            self.bins[i] = joined;
        }
        self.bins.truncate(half);
    }

    /// Samples taken.
    pub fn count(&self) -> u32 {
        self.bins.iter().map(|bin| bin.count).sum()
    }

    /// Forgets everything.
    pub fn clear(&mut self) {
        self.bins.clear();
    }

    /// The curve that fits best; `None` for fewer than five bins.
    ///
    /// Where the samples show no curvature the time constant comes out near the span of the samples or
    /// beyond, with a deviation that says how little is known.
    pub fn fit(&self) -> Option<Exponential> {
        if self.bins.len() < 5 {
            return None;
        }
        let start = self.bins.first()?.at;
        let span = self.bins.last()?.at - start;
        let shortest = self.bins.get(1)?.at - start;
        let residual = |log_tau: f64| self.solve_for(start, log_tau.exp()).map_or(f64::INFINITY, |fit| fit.2);
        let log_tau = least(residual, (0.3 * shortest).ln(), (10.0 * span).ln());
        let tau = log_tau.exp();
        let (asymptote, amplitude, squares) = self.solve_for(start, tau)?;
        let residual_variance = squares / (self.bins.len() as f64 - 3.0).max(1.0);
        let covariance = self.covariance(start, tau, amplitude, residual_variance)?;
        Some(Exponential {
            start,
            asymptote,
            amplitude,
            time_constant: tau,
            log_time_constant_deviation: covariance[2][2].sqrt(),
            residual_variance,
            covariance,
        })
    }

    /// Asymptote, amplitude and weighted sum of squares for one time constant.
    fn solve_for(&self, start: f64, tau: f64) -> Option<(f64, f64, f64)> {
        let weighted =
            || self.bins.iter().map(|bin| (f64::from(bin.count), (-(bin.at - start) / tau).exp(), bin.value));
        let total: f64 = weighted().map(|(w, _, _)| w).sum();
        let mean_e = weighted().map(|(w, e, _)| w * e).sum::<f64>() / total;
        let mean_y = weighted().map(|(w, _, y)| w * y).sum::<f64>() / total;
        let spread: f64 = weighted().map(|(w, e, _)| w * (e - mean_e).powi(2)).sum();
        let joint: f64 = weighted().map(|(w, e, y)| w * (e - mean_e) * (y - mean_y)).sum();
        if spread <= f64::MIN_POSITIVE {
            return None;
        }
        let amplitude = joint / spread;
        let asymptote = mean_y - amplitude * mean_e;
        let squares = weighted().map(|(w, e, y)| w * (y - asymptote - amplitude * e).powi(2)).sum();
        Some((asymptote, amplitude, squares))
    }

    /// Inverse of the information that the samples hold on (a, b, ln τ), times the residual variance.
    fn covariance(
        &self,
        start: f64,
        tau: f64,
        amplitude: f64,
        residual_variance: f64,
    ) -> Option<[[f64; 3]; 3]> {
        let mut information = vec![vec![0.0; 3]; 3];
        for bin in &self.bins {
            let gradient = gradient(bin.at - start, tau, amplitude);
            for (row, gi) in information.iter_mut().zip(gradient) {
                for (entry, gj) in row.iter_mut().zip(gradient) {
                    *entry += f64::from(bin.count) * gi * gj;
                }
            }
        }
        let mut covariance = [[0.0; 3]; 3];
        for (i, row) in covariance.iter_mut().enumerate() {
            let mut unit = vec![0.0; 3];
            unit[i] = residual_variance;
            row.copy_from_slice(&solve(information.clone(), unit)?);
        }
        Some(covariance)
    }
}

/// Derivatives of a + b exp(−t/τ) by a, b and ln τ.
fn gradient(t: f64, tau: f64, amplitude: f64) -> [f64; 3] {
    let e = (-t / tau).exp();
    [1.0, e, amplitude * e * t / tau]
}

/// Where a function of one variable is least: a coarse scan, then golden-section search around the best
/// point.
fn least(f: impl Fn(f64) -> f64, low: f64, high: f64) -> f64 {
    const SCAN: u32 = 24;
    const GOLDEN: f64 = 0.618_033_988_749_895;
    let step = (high - low) / f64::from(SCAN);
    let at = |i: u32| low + step * f64::from(i);
    let best = (0..=SCAN).min_by(|&i, &j| f(at(i)).total_cmp(&f(at(j)))).unwrap_or(0);
    let (mut a, mut b) = (at(best.saturating_sub(1)), at((best + 1).min(SCAN)));
    for _ in 0..30 {
        let (inner_a, inner_b) = (b - GOLDEN * (b - a), a + GOLDEN * (b - a));
        if f(inner_a) < f(inner_b) {
            b = inner_b;
        } else {
            a = inner_a;
        }
    }
    0.5 * (a + b)
}

impl Exponential {
    /// The curve at a time, with the variance of its height there.
    pub fn at(&self, at: f64) -> Estimate {
        let t = at - self.start;
        let g = gradient(t, self.time_constant, self.amplitude);
        let variance = (0..3)
            .flat_map(|i| (0..3).map(move |j| (i, j)))
            .map(|(i, j)| g[i] * self.covariance[i][j] * g[j]);
        Estimate { value: self.asymptote + self.amplitude * g[1], variance: variance.sum::<f64>().max(0.0) }
    }

    /// Rate of fall at a time, positive downwards.
    pub fn fall(&self, at: f64) -> f64 {
        self.amplitude * (-(at - self.start) / self.time_constant).exp() / self.time_constant
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sampled(step: f64, count: i32, curve: impl Fn(f64) -> f64) -> Recession {
        let mut recession = Recession::new();
        for i in 0..count {
            let t = step * f64::from(i);
            recession.observe(100.0 + t, curve(t));
        }
        recession
    }

    #[test]
    fn a_clean_recession_is_recovered() {
        for tau in [0.5, 3.0, 20.0] {
            let fit = sampled(0.25, 200, |t| 0.2 + 0.1 * (-t / tau).exp()).fit().expect("enough samples");
            assert!((fit.time_constant / tau - 1.0).abs() < 0.03, "{tau}: {fit:?}");
            assert!(
                (fit.asymptote - 0.2).abs() < 1e-3 && (fit.amplitude - 0.1).abs() < 3e-3,
                "{tau}: {fit:?}"
            );
        }
    }

    #[test]
    fn a_straight_line_leaves_the_time_constant_open() {
        let ripple = |t: f64| 0.001 * (17.0 * t).sin();
        let fit = sampled(0.25, 200, |t| 0.3 - 0.0002 * t + ripple(t)).fit().expect("enough samples");
        assert!(fit.log_time_constant_deviation > 0.5, "{fit:?}");
    }

    #[test]
    fn bins_are_bounded_and_keep_every_sample() {
        let recession = sampled(0.01, 100_000, |t| (-t / 50.0).exp());
        assert!(recession.bins.len() <= MOST_BINS);
        assert_eq!(recession.count(), 100_000);
    }

    #[test]
    fn too_few_samples_give_no_curve() {
        assert_eq!(sampled(1.0, 4, |t| t).fit(), None);
    }

    #[test]
    fn a_fall_is_the_slope_of_the_curve() {
        let fit = sampled(0.25, 100, |t| 0.2 + 0.1 * (-t / 5.0).exp()).fit().expect("enough samples");
        let slope = (fit.at(102.999).value - fit.at(103.001).value) / 0.002;
        assert!((fit.fall(103.0) - slope).abs() < 1e-6);
    }
}
