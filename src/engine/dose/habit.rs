//! What a basin's sensor is used to show of an episode, learnt in the first in-tune weeks.

use serde::{Deserialize, Serialize};

use crate::stats::regression::Line;
use crate::stats::robust::LocationScale;

/// Episodes that the habit is learnt from. What changes quickly later is a finding, not a habit.
const LEARN: u32 = 30;
/// Episodes after which the slope on the size counts, and the slope until then.
const SLOPE_KNOWN: u32 = 15;
const USUAL_SLOPE: f64 = 0.8;
const SLOPES: (f64, f64) = (0.35, 1.5);
/// Episodes after which the level counts.
const LEVEL_KNOWN: u32 = 5;
/// A single episode may be off by this much while the habit is learnt (logarithm).
const BOUND: f64 = 0.7;
/// Later the level follows slowly, by this part of a bounded miss, but never further than this from what was learnt:
/// seasons move probes against each other a little; a fault moves them by more.
const FOLLOW: f64 = 1.0 / 80.0;
const FOLLOW_BOUND: f64 = 0.2;
const FURTHEST: f64 = 0.30;

/// Logarithm of what a sensor shows, as a line on the logarithm of the episode's size.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Habit {
    line: Line,
    episodes: u32,
    /// How far the level has moved since it was learnt.
    moved: f64,
    /// Standardised misses.
    misses: LocationScale,
}

/// The habits of a system.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Habits {
    /// By basin: what its sensor shows at a common level.
    pub(super) basins: Vec<Habit>,
    /// The common level at a number of litres (logarithms).
    pub(super) size: Habit,
}

impl Habits {
    pub(super) fn new(basins: usize) -> Self {
        Self { basins: vec![Habit::default(); basins], size: Habit::default() }
    }
}

/// What the habit expects.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Expected {
    /// Logarithm of what the sensor would show.
    pub(super) log_shown: f64,
    /// Change of that logarithm with the logarithm of the water.
    pub(super) slope: f64,
    /// Usual standardised miss.
    pub(super) spread: f64,
}

impl Default for Habit {
    fn default() -> Self {
        Self { line: Line::default(), episodes: 0, moved: 0.0, misses: LocationScale::new(60.0, 0.05) }
    }
}

impl Habit {
    /// Learns from an episode of size `log_size` in which the sensor showed `log_shown`; what all sensors have in
    /// common then is `common`. Nothing is learnt of what is suspected.
    pub(super) fn learn(
        &mut self,
        log_size: f64,
        log_shown: f64,
        common: f64,
        deviation: f64,
        suspected: bool,
    ) {
        let expected = self.expect(log_size);
        let miss = expected.map_or(0.0, |expected| log_shown - expected.log_shown - common);
        if self.episodes >= SLOPE_KNOWN && !suspected {
            self.misses.observe(miss / deviation);
        }
        if self.is_known() {
            if !suspected {
                let step = FOLLOW * miss.clamp(-FOLLOW_BOUND, FOLLOW_BOUND);
                self.moved = (self.moved + step).clamp(-FURTHEST, FURTHEST);
            }
            return;
        }
        let bounded = match expected.filter(|_| self.episodes >= LEVEL_KNOWN) {
            Some(expected) => log_shown.clamp(expected.log_shown - BOUND, expected.log_shown + BOUND),
            None => log_shown,
        };
        self.line.observe(log_size, bounded, 1.0 / (deviation * deviation));
        self.episodes += 1;
    }

    /// What the sensor would usually show of that size; none before the first episode.
    pub(super) fn expect(&self, log_size: f64) -> Option<Expected> {
        let fit = self.line.fit()?;
        let known = self.episodes >= SLOPE_KNOWN && fit.slope.value.is_finite();
        let slope = if known { fit.slope.value.clamp(SLOPES.0, SLOPES.1) } else { USUAL_SLOPE };
        let log_shown = fit.mean_value.value + slope * (log_size - fit.mean_at) + self.moved;
        let spread = self.misses.scale().map_or(1.0, |scale| scale.clamp(0.7, 3.0));
        Some(Expected { log_shown, slope, spread })
    }

    /// What the sensor usually shows; none before the first episodes.
    pub(super) fn level(&self) -> Option<f64> {
        Some(self.line.fit()?.mean_value.value + self.moved)
    }

    /// Whether enough episodes were seen.
    pub(super) fn is_known(&self) -> bool {
        self.episodes >= LEARN
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn taught() -> Habit {
        let mut habit = Habit::default();
        for i in 0..60 {
            let size = 3.0 + 0.1 * f64::from(i % 20);
            let odd = if i % 7 == 3 { 2.0 } else { 0.0 };
            habit.learn(size, 0.4 + 0.6 * (size - 4.0) + odd, 0.0, 0.1, false);
        }
        habit
    }

    #[test]
    fn level_and_slope_are_learnt() {
        let habit = taught();
        let expected = habit.expect(4.0).unwrap();
        assert!(habit.is_known() && (expected.log_shown - 0.5).abs() < 0.2, "{expected:?}");
        assert!((expected.slope - 0.6).abs() < 0.25, "{expected:?}");
    }

    #[test]
    fn later_the_level_follows_slowly_and_not_far_and_never_what_is_suspected() {
        let mut habit = taught();
        let before = habit.clone();
        let level = before.expect(4.0).unwrap().log_shown;
        (0..500).for_each(|_| habit.learn(4.0, level + 2.0, 0.0, 0.1, true));
        assert_eq!(habit.expect(4.0), before.expect(4.0));
        (0..5000).for_each(|_| habit.learn(4.0, level + 2.0, 0.0, 0.1, false));
        assert!((habit.moved - FURTHEST).abs() < 1e-9);
    }
}
