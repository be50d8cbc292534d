//! What a basin's probe is used to show of a dose: its gain, learnt in the first in-tune weeks.

use serde::{Deserialize, Serialize};

use crate::stats::regression::Line;

/// Doses that the habit is learnt from. What changes later is a finding, not a habit.
const LEARN: u32 = 40;
/// Doses after which the slope on the dose's size counts.
const SLOPE_KNOWN: u32 = 20;
/// Doses after which the level counts.
const LEVEL_KNOWN: u32 = 5;
/// A single dose may be off by this much while the habit is learnt (logarithm).
const BOUND: f64 = 0.7;

/// Logarithm of what a probe shows over what the design would bring, as a line on the logarithm of the dose.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Habit {
    line: Line,
    doses: u32,
}

impl Habit {
    /// Learns from a dose of size `log_size` in which the probe showed `log_gain`, until the habit is known.
    pub(super) fn learn(&mut self, log_size: f64, log_gain: f64) {
        if self.is_known() || !log_gain.is_finite() {
            return;
        }
        let expected = self.expect(log_size);
        let bounded = if self.doses < LEVEL_KNOWN {
            log_gain
        } else {
            log_gain.clamp(expected - BOUND, expected + BOUND)
        };
        self.line.observe(log_size, bounded, 1.0);
        self.doses += 1;
    }

    /// What the probe would usually show of a dose of that size.
    pub(super) fn expect(&self, log_size: f64) -> f64 {
        let Some(fit) = self.line.fit() else { return 0.0 };
        if self.doses < SLOPE_KNOWN {
            return fit.mean_value.value;
        }
        fit.mean_value.value + fit.slope.value.clamp(-0.6, 0.6) * (log_size - fit.mean_at)
    }

    /// Whether enough doses were seen.
    pub(super) fn is_known(&self) -> bool {
        self.doses >= LEARN
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn gain_and_slope_are_learnt_and_then_held() {
        let mut habit = Habit::default();
        for i in 0..60 {
            let size = 3.0 + 0.1 * f64::from(i % 20);
            habit.learn(size, 0.4 + 0.2 * (size - 4.0) + if i % 7 == 3 { 2.0 } else { 0.0 });
        }
        assert!(habit.is_known());
        assert!((habit.expect(4.0) - 0.5).abs() < 0.15, "{}", habit.expect(4.0));
        let held = habit.clone();
        habit.learn(4.0, 9.0);
        assert_eq!(habit, held);
    }
}
