//! Estimates with their variance, intervals with a stated coverage, and the log-normal distribution for
//! quantities that cannot be negative.

use serde::{Deserialize, Serialize};

use super::normal;

/// A closed range.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Interval {
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

impl Interval {
    /// The central interval that holds `coverage` (between 0 and 1) of a normal distribution.
    pub fn of_normal(mean: f64, variance: f64, coverage: f64) -> Self {
        let half = normal::half_width(coverage) * variance.sqrt();
        Self { low: mean - half, high: mean + half }
    }

    /// Whether `value` lies inside, the ends included.
    pub fn contains(&self, value: f64) -> bool {
        self.low <= value && value <= self.high
    }

    /// The image under an increasing function.
    #[must_use]
    pub fn map(self, increasing: impl Fn(f64) -> f64) -> Self {
        Self { low: increasing(self.low), high: increasing(self.high) }
    }

    /// High minus low.
    pub fn width(&self) -> f64 {
        self.high - self.low
    }
}

/// A quantity and the variance of its error.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Estimate {
    /// Best value.
    pub value: f64,
    /// Variance of its error.
    pub variance: f64,
}

impl Estimate {
    /// Sum of independent estimates.
    pub fn total(parts: impl IntoIterator<Item = Self>) -> Self {
        parts.into_iter().fold(Self { value: 0.0, variance: 0.0 }, |sum, part| Self {
            value: sum.value + part.value,
            variance: sum.variance + part.variance,
        })
    }

    /// The central normal interval that holds `coverage`.
    pub fn interval(&self, coverage: f64) -> Interval {
        Interval::of_normal(self.value, self.variance, coverage)
    }
}

/// A log-normal distribution, by the mean and variance of the logarithm.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct LogNormal {
    /// Mean of the logarithm.
    pub log_mean: f64,
    /// Variance of the logarithm.
    pub log_variance: f64,
}

impl LogNormal {
    /// The distribution with this mean (above 0) and variance of the quantity itself.
    pub fn from_moments(mean: f64, variance: f64) -> Self {
        let log_variance = (variance / (mean * mean)).ln_1p();
        Self { log_mean: mean.ln() - 0.5 * log_variance, log_variance }
    }

    /// Half of the quantity lies below.
    pub fn median(&self) -> f64 {
        self.log_mean.exp()
    }

    /// Mean of the quantity.
    pub fn mean(&self) -> f64 {
        (self.log_mean + 0.5 * self.log_variance).exp()
    }

    /// Variance of the quantity.
    pub fn variance(&self) -> f64 {
        self.log_variance.exp_m1() * self.mean() * self.mean()
    }

    /// The value with probability `p` below it.
    pub fn quantile(&self, p: f64) -> f64 {
        (self.log_mean + self.log_variance.sqrt() * normal::quantile(p)).exp()
    }

    /// Probability below `value`.
    pub fn cumulative(&self, value: f64) -> f64 {
        if value <= 0.0 {
            0.0
        } else {
            normal::cumulative((value.ln() - self.log_mean) / self.log_variance.sqrt())
        }
    }

    /// The central interval that holds `coverage` of the distribution.
    pub fn interval(&self, coverage: f64) -> Interval {
        Interval::of_normal(self.log_mean, self.log_variance, coverage).map(f64::exp)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_log_normal_has_the_moments_it_was_made_from() {
        let d = LogNormal::from_moments(3.0, 0.5);
        assert!((d.mean() - 3.0).abs() < 1e-12 && (d.variance() - 0.5).abs() < 1e-12);
        assert!((d.cumulative(d.quantile(0.1)) - 0.1).abs() < 1e-12);
        assert!((d.interval(0.8).low - d.quantile(0.1)).abs() < 1e-12);
        assert!(d.median() < d.mean());
    }
}
