//! Weighted straight line through a stream of points.

use serde::{Deserialize, Serialize};

use super::interval::Estimate;

/// Running sums about the weighted means (Welford's scheme), which stay accurate however far the times are
/// from 0.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Line {
    count: u32,
    weight: f64,
    mean_at: f64,
    mean_value: f64,
    at_square: f64,
    at_value: f64,
    value_square: f64,
}

/// A fitted line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LineFit {
    /// Change a unit of time; its variance takes the weights as 1/variance.
    pub slope: Estimate,
    /// Weighted mean time.
    pub mean_at: f64,
    /// Height of the line there; its error is independent of the slope's.
    pub mean_value: Estimate,
    /// Weighted mean square of the residuals, corrected for the two fitted numbers; about 1 when the weights
    /// are right. `NaN` for two points.
    pub residual_variance: f64,
}

impl Line {
    /// Takes one point with its weight, 1/variance. A point that is not finite, or has no positive weight,
    /// changes nothing.
    pub fn observe(&mut self, at: f64, value: f64, weight: f64) {
        if !(at.is_finite() && value.is_finite() && weight.is_finite() && weight > 0.0) {
            return;
        }
        self.count = self.count.saturating_add(1);
        self.weight += weight;
        let part = weight / self.weight;
        let (from_at, from_value) = (at - self.mean_at, value - self.mean_value);
        self.mean_at += part * from_at;
        self.mean_value += part * from_value;
        let (to_at, to_value) = (at - self.mean_at, value - self.mean_value);
        self.at_square += weight * from_at * to_at;
        self.at_value += weight * from_at * to_value;
        self.value_square += weight * from_value * to_value;
    }

    /// Weighted means of the times and of the values; `None` before the first.
    pub fn means(&self) -> Option<(f64, f64)> {
        (self.count > 0).then_some((self.mean_at, self.mean_value))
    }

    /// The line; `None` until two different times were seen.
    pub fn fit(&self) -> Option<LineFit> {
        if self.count < 2 || self.at_square <= 0.0 {
            return None;
        }
        let slope = self.at_value / self.at_square;
        let residual_square = (self.value_square - slope * self.at_value).max(0.0);
        Some(LineFit {
            slope: Estimate { value: slope, variance: 1.0 / self.at_square },
            mean_at: self.mean_at,
            mean_value: Estimate { value: self.mean_value, variance: 1.0 / self.weight },
            residual_variance: residual_square / f64::from(self.count - 2),
        })
    }
}

impl LineFit {
    /// Height of the line at a time, with the variance of that height.
    pub fn at(&self, at: f64) -> Estimate {
        let lever = at - self.mean_at;
        Estimate {
            value: self.mean_value.value + self.slope.value * lever,
            variance: self.mean_value.variance + self.slope.variance * lever * lever,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_exact_line_far_from_the_origin_is_found_exactly() {
        let mut line = Line::default();
        for i in 0..50 {
            let at = 1e9 + f64::from(i);
            line.observe(at, 3.0 + 2.0 * f64::from(i), 4.0);
        }
        let fit = line.fit().expect("fifty times");
        assert!((fit.slope.value - 2.0).abs() < 1e-12 && fit.residual_variance < 1e-12);
        assert!((fit.at(1e9 + 100.0).value - 203.0).abs() < 1e-9);
    }

    #[test]
    fn one_time_alone_has_no_slope() {
        let mut line = Line::default();
        line.observe(1.0, 2.0, 1.0);
        line.observe(1.0, 3.0, 1.0);
        line.observe(2.0, f64::NAN, 1.0);
        line.observe(2.0, 3.0, 0.0);
        assert_eq!(line.fit(), None);
    }
}
