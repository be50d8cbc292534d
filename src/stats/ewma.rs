//! Exponentially weighted moving average with control limits (Roberts 1959; Lucas & Saccucci 1990).
//!
//! Observations are standardised residuals, as for the CUSUM.

use serde::{Deserialize, Serialize};

use super::cusum::Direction;
use super::run_length;

/// Weight and limits.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Design {
    /// Weight λ of the newest observation, above 0 and up to 1.
    pub weight: f64,
    /// Width L of the limits, in standard deviations of the average.
    pub width: f64,
}

impl Design {
    /// The design with this weight whose asymptotic limits are crossed by chance once in `arl` observations
    /// on average.
    pub fn for_run_length(weight: f64, arl: f64) -> Self {
        Self { weight, width: run_length::ewma_width(weight, arl) }
    }

    /// Asymptotic standard deviation of the average, in standard deviations of one observation.
    pub fn deviation(&self) -> f64 {
        (self.weight / (2.0 - self.weight)).sqrt()
    }
}

/// A moving average and its limits.
///
/// The limits are exact from the first observation on: narrower while the average has few observations behind
/// it, which finds a fault present at the start sooner.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Ewma {
    design: Design,
    average: f64,
    /// (1 − λ)²ⁿ after n observations: how far the average's variance is from its asymptote.
    missing_variance: f64,
}

impl Ewma {
    /// An average at zero.
    pub fn new(design: Design) -> Self {
        Self { design, average: 0.0, missing_variance: 1.0 }
    }

    /// Takes one standardised residual; tells which limit the average is beyond. A value that is not finite
    /// changes nothing.
    pub fn observe(&mut self, residual: f64) -> Option<Direction> {
        if residual.is_finite() {
            let keep = 1.0 - self.design.weight;
            self.average = self.design.weight * residual + keep * self.average;
            self.missing_variance *= keep * keep;
        }
        self.beyond()
    }

    fn beyond(&self) -> Option<Direction> {
        let limit = self.limit();
        if self.average > limit {
            Some(Direction::Up)
        } else if self.average < -limit {
            Some(Direction::Down)
        } else {
            None
        }
    }

    /// The average, in standard deviations of one observation.
    pub fn average(&self) -> f64 {
        self.average
    }

    /// Upper limit now; the lower one mirrors it.
    pub fn limit(&self) -> f64 {
        self.design.width * self.design.deviation() * (1.0 - self.missing_variance).sqrt()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_first_limit_is_that_of_one_weighted_observation() {
        let mut ewma = Ewma::new(Design { weight: 0.3, width: 3.0 });
        assert_eq!(ewma.observe(2.9), None);
        assert!((ewma.limit() - 0.9).abs() < 1e-12);
        let mut ewma = Ewma::new(Design { weight: 0.3, width: 3.0 });
        assert_eq!(ewma.observe(-3.1), Some(Direction::Down));
    }

    #[test]
    fn a_value_that_is_not_finite_changes_nothing() {
        let mut ewma = Ewma::new(Design { weight: 0.2, width: 3.0 });
        ewma.observe(1.0);
        let before = ewma.clone();
        assert_eq!(ewma.observe(f64::NAN), None);
        assert_eq!(ewma, before);
    }
}
