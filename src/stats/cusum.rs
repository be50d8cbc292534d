//! Tabular CUSUM (Page 1954): the quickest test for a shift of a known size, with an estimate of when it
//! began.
//!
//! Observations are standardised residuals: zero mean and unit variance while nothing has changed.

use serde::{Deserialize, Serialize};

use super::run_length;

/// Reference value, decision limit and head start, in standard deviations of one observation.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Design {
    /// Allowance k subtracted from each observation; half the shift that should be found soonest.
    pub reference: f64,
    /// Decision limit h; an arm above it signals.
    pub limit: f64,
    /// Where the arms start, 0 or above: 0 for none, half the limit for the fast initial response of Lucas &
    /// Crosier (1982).
    pub head_start: f64,
}

impl Design {
    /// The design that finds a shift of `shift` soonest while a false signal comes once in `arl` observations
    /// on average, both arms together. Its limit is `NaN`, and it never signals, where no such design exists.
    pub fn for_shift(shift: f64, arl: f64) -> Self {
        let reference = 0.5 * shift;
        Self { reference, limit: run_length::cusum_limit(reference, arl), head_start: 0.0 }
    }
}

/// Which way a quantity moved.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Direction {
    /// Upwards.
    Up,
    /// Downwards.
    Down,
}

/// An arm above its limit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Signal {
    /// Which way the mean moved.
    pub direction: Direction,
    /// Time of the first observation after the arm last stood at zero: the usual estimate of when the shift
    /// began.
    pub onset: f64,
    /// Observations from the onset on, this one included.
    pub observations: u32,
    /// Estimate of the shift, with its sign, in standard deviations: the reference value plus the arm's mean
    /// rise.
    pub shift: f64,
}

/// One arm: an accumulated excess that never falls below zero.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
struct Arm {
    sum: f64,
    observations: u32,
    onset: f64,
}

impl Arm {
    fn new(head_start: f64) -> Self {
        Self { sum: head_start, observations: 0, onset: 0.0 }
    }

    fn observe(&mut self, at: f64, excess: f64) {
        if self.observations == 0 {
            self.onset = at;
        }
        self.sum = (self.sum + excess).max(0.0);
        self.observations = if self.sum > 0.0 { self.observations.saturating_add(1) } else { 0 };
    }
}

/// A two-sided CUSUM.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Cusum {
    design: Design,
    up: Arm,
    down: Arm,
}

impl Cusum {
    /// Starts at rest, or at the design's head start.
    pub fn new(design: Design) -> Self {
        Self { design, up: Arm::new(design.head_start), down: Arm::new(design.head_start) }
    }

    /// Takes one standardised residual; a signal lasts while its arm stays above the limit. A value that is
    /// not finite changes nothing.
    pub fn observe(&mut self, at: f64, residual: f64) -> Option<Signal> {
        if residual.is_finite() {
            self.up.observe(at, residual - self.design.reference);
            self.down.observe(at, -residual - self.design.reference);
        }
        self.signal()
    }

    /// The arm above the limit, the higher one should both be.
    pub fn signal(&self) -> Option<Signal> {
        let (direction, arm, sign) = if self.up.sum >= self.down.sum {
            (Direction::Up, &self.up, 1.0)
        } else {
            (Direction::Down, &self.down, -1.0)
        };
        (arm.sum > self.design.limit).then(|| Signal {
            direction,
            onset: arm.onset,
            observations: arm.observations,
            shift: sign * (self.design.reference + arm.sum / f64::from(arm.observations.max(1))),
        })
    }

    /// The two arms, upper first.
    pub fn sums(&self) -> (f64, f64) {
        (self.up.sum, self.down.sum)
    }

    /// Back to the start, after a signal has been dealt with.
    pub fn reset(&mut self) {
        *self = Self::new(self.design);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const DESIGN: Design = Design { reference: 0.5, limit: 4.0, head_start: 0.0 };

    #[test]
    fn the_onset_is_the_first_observation_after_the_last_zero() {
        let mut cusum = Cusum::new(DESIGN);
        for at in 0..10 {
            assert_eq!(cusum.observe(f64::from(at), 0.0), None);
        }
        let signal =
            (10..20).find_map(|at| cusum.observe(f64::from(at), 2.0)).expect("a shift of two is found");
        assert_eq!((signal.direction, signal.onset, signal.observations), (Direction::Up, 10.0, 3));
        assert!((signal.shift - 2.0).abs() < 1e-12);
    }

    #[test]
    fn a_fall_is_found_by_the_lower_arm() {
        let mut cusum = Cusum::new(DESIGN);
        let signal =
            (0..9).find_map(|at| cusum.observe(f64::from(at), -2.0)).expect("a shift of two is found");
        assert_eq!(signal.direction, Direction::Down);
        assert!((signal.shift + 2.0).abs() < 1e-12);
    }

    #[test]
    fn a_value_that_is_not_finite_changes_nothing() {
        let mut cusum = Cusum::new(DESIGN);
        cusum.observe(0.0, 1.0);
        let before = cusum.clone();
        for value in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
            assert_eq!(cusum.observe(1.0, value), None);
        }
        assert_eq!(cusum, before);
    }

    #[test]
    fn a_head_start_signals_sooner_and_reset_restores_it() {
        let mut cusum = Cusum::new(Design { head_start: 2.0, ..DESIGN });
        let start = cusum.clone();
        assert!((0..2).find_map(|at| cusum.observe(f64::from(at), 2.0)).is_some());
        cusum.reset();
        assert_eq!(cusum, start);
    }
}
