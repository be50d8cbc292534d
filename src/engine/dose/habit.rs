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
/// The bend follows slowly, by this part of a bounded miss, but never further than this from the line: seasons move
/// probes against each other by as much in the course of months, a fault by more and sooner (by the tuning seeds).
const FOLLOW: f64 = 0.015;
const FOLLOW_BOUND: f64 = 0.2;
const FURTHEST: f64 = 0.15;
/// How wet the soil is before an episode is followed by this part a dose.
const GROUND_FOLLOWS: f64 = 0.01;
/// The content behind a wetting front is what its flow sets (kinematic wave: Smith 1983, *Water Resour. Res.* 19:77–84,
/// from memory), so that from wetter soil a probe rises less though as much came. This part of the difference is seen
/// (tuned on simulated yards), and no more than so much of a usual rise.
const WETNESS: f64 = 0.3;
const WETNESS_BOUNDS: (f64, f64) = (-0.4, 2.0);
/// Points of the bend, this far apart (logarithm), the middle one at the mean of the line.
const BENDS: usize = 7;
const APART: f64 = 0.5;
/// A point of the bend stands at the line as if so many episodes had shown it.
const BEND_PRIOR: f64 = 5.0;
/// Usual standardised misses that are believed.
const SPREADS: (f64, f64) = (0.5, 3.0);
/// The level at which sensors would show no more lies so far above the highest that is seen (logarithm).
const ROOM: f64 = 0.6;
/// The same for how much came in all, where it shows sooner (by the tuning seeds).
const FOLDS: f64 = 0.2;
/// The highest level follows a higher one by this part, and sinks by so much an episode.
const RISES: f64 = 0.3;
const SINKS: f64 = 0.002;
/// Nearer to it nothing is told.
const FULLEST: f64 = 0.9;

/// Logarithm of what a sensor shows, as a line on the logarithm of the episode's size.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Habit {
    line: Line,
    episodes: u32,
    /// How far the response bends away from the line, by its level, and moves with the seasons.
    bends: [Bend; BENDS],
    /// Standardised misses.
    misses: LocationScale,
    /// Water content of the soil before an episode, m³/m³, and the episodes that it rests on.
    before: f64,
    befores: u32,
}

/// One point of the bend: how far from the line (logarithm), and what it rests on, in episodes.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
struct Bend {
    by: f64,
    weight: f64,
}

impl Bend {
    fn follow(&mut self, part: f64, miss: f64) {
        self.weight += part;
        let by = part * FOLLOW.max(1.0 / (self.weight + BEND_PRIOR));
        self.by = (self.by + by * miss.clamp(-FOLLOW_BOUND, FOLLOW_BOUND)).clamp(-FURTHEST, FURTHEST);
    }
}

/// The two points of the bend that are nearest, `distance` from the mean of the line, with their parts.
fn hats(distance: f64) -> [(usize, f64); 2] {
    let place = (distance / APART + (BENDS / 2) as f64).clamp(0.0, (BENDS - 1) as f64 - 1e-6);
    let below = place as usize;
    [(below, 1.0 - place.fract()), (below + 1, place.fract())]
}

/// The habits of a system.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Habits {
    /// By basin: what its sensor shows at a common level.
    pub(super) basins: Vec<Habit>,
    /// The common level at a number of litres (logarithms).
    pub(super) size: Habit,
    /// The highest common level of late.
    top: Option<f64>,
}

impl Habits {
    pub(super) fn new(basins: usize) -> Self {
        Self { basins: vec![Habit::default(); basins], size: Habit::default(), top: None }
    }
}

impl Habits {
    /// An episode reached a common level.
    pub(super) fn reach(&mut self, level: f64) {
        let top = self.top.get_or_insert(level);
        *top += if level > *top { RISES * (level - *top) } else { -SINKS };
    }

    /// A common level as it would be if sensors went on to show more of more water.
    pub(super) fn unfolded(&self, level: f64) -> f64 {
        let fold = |top: f64| (2.0 * (level - top - FOLDS)).exp().min(FULLEST);
        level - 0.5 * (-self.top.map_or(0.0, fold)).ln_1p()
    }

    /// How near the sensors are to showing no more, at a common level.
    pub(super) fn fullness(&self, level: f64) -> f64 {
        let known = self.basins.iter().any(Habit::is_known);
        self.top.filter(|_| known).map_or(0.0, |top| (2.0 * (level - top - ROOM)).exp().min(FULLEST))
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
        Self {
            line: Line::default(),
            episodes: 0,
            bends: [Bend::default(); BENDS],
            misses: LocationScale::new(60.0, 0.05),
            before: 0.0,
            befores: 0,
        }
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
        if self.episodes >= SLOPE_KNOWN
            && !suspected
            && let Some(fit) = self.line.fit()
        {
            for (k, part) in hats(log_size - fit.mean_at) {
                self.bends[k].follow(part, miss);
            }
        }
        if self.is_known() {
            return;
        }
        let bounded = match expected.filter(|_| self.episodes >= LEVEL_KNOWN) {
            Some(expected) => log_shown.clamp(expected.log_shown - BOUND, expected.log_shown + BOUND),
            None => log_shown,
        };
        self.line.observe(log_size, bounded, 1.0 / (deviation * deviation));
        self.episodes += 1;
    }

    /// The pipes are as they were when the line was learnt: what was followed since is no habit.
    pub(super) fn straighten(&mut self) {
        self.bends = [Bend::default(); BENDS];
    }

    /// What the sensor would usually show of that size; none before the first episode.
    pub(super) fn expect(&self, log_size: f64) -> Option<Expected> {
        let fit = self.line.fit()?;
        let known = self.episodes >= SLOPE_KNOWN && fit.slope.value.is_finite();
        let slope = if known { fit.slope.value.clamp(SLOPES.0, SLOPES.1) } else { USUAL_SLOPE };
        let log_shown =
            fit.mean_value.value + slope * (log_size - fit.mean_at) + self.bend(log_size - fit.mean_at);
        let spread = self.misses.scale().map_or(1.0, |scale| scale.clamp(SPREADS.0, SPREADS.1));
        Some(Expected { log_shown, slope, spread })
    }

    /// What the sensor shows at the common level of 0, by what it usually shows and at which level that is; none before the
    /// first episode. Levels of all times are told from there, whatever the doses were that it learnt from.
    pub(super) fn level(&self) -> Option<f64> {
        let (mean_at, mean_value) = self.line.means()?;
        Some(mean_value - mean_at + self.bend(0.0))
    }

    fn bend(&self, distance: f64) -> f64 {
        hats(distance).iter().map(|&(k, part)| part * self.bends[k].by).sum()
    }

    /// Learns how wet the soil is before an episode, unless something is suspected.
    pub(super) fn learn_before(&mut self, before: f64, suspected: bool) {
        if suspected && self.is_known() {
            return;
        }
        self.befores = self.befores.saturating_add(1);
        self.before += (before - self.before) * GROUND_FOLLOWS.max(1.0 / f64::from(self.befores));
    }

    /// How much more (logarithm) a probe that usually shows `log_shown` would have shown from soil as wet as usual, when
    /// it was at `before`.
    pub(super) fn for_wetness(&self, before: f64, log_shown: f64) -> f64 {
        if self.befores < SLOPE_KNOWN {
            return 0.0;
        }
        let wetter = (before - self.before) / log_shown.exp();
        (WETNESS * wetter).clamp(WETNESS_BOUNDS.0, WETNESS_BOUNDS.1).ln_1p()
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
        let moved = habit.expect(4.0).unwrap().log_shown - level;
        assert!(moved > 0.1 && moved < 2.0 * FURTHEST + 0.01, "{moved}");
    }

    #[test]
    fn a_response_that_bends_is_learnt_where_it_is_seen() {
        let mut habit = Habit::default();
        let bent = |size: f64| 0.8 * (size - 4.0) - 0.15 * (size - 4.0).powi(2);
        for i in 0..600 {
            let size = 3.0 + 0.1 * f64::from(i % 20);
            habit.learn(size, bent(size), 0.0, 0.1, false);
        }
        for size in [3.2, 3.7, 4.2, 4.7] {
            let expected = habit.expect(size).unwrap().log_shown;
            assert!((expected - bent(size)).abs() < 0.05, "{size}: {expected} for {}", bent(size));
        }
    }

    #[test]
    fn the_fullest_that_is_seen_leaves_room_above() {
        let mut habits = Habits::new(1);
        (0..40).for_each(|_| habits.basins[0].learn(0.0, 0.0, 0.0, 0.1, false));
        (0..40).for_each(|_| habits.reach(-1.0));
        (0..10).for_each(|_| habits.reach(0.0));
        let (usual, most) = (habits.fullness(-1.0), habits.fullness(0.0));
        assert!(usual < 0.1 && most > 0.2 && most < 0.5, "{usual} {most}");
    }

    #[test]
    fn from_wetter_soil_as_much_water_shows_less() {
        let mut habit = taught();
        let usual = 0.08_f64.ln();
        (0..40).for_each(|_| habit.learn_before(0.20, false));
        assert!(habit.for_wetness(0.20, usual).abs() < 1e-9);
        let (wetter, drier) = (habit.for_wetness(0.26, usual), habit.for_wetness(0.14, usual));
        assert!(wetter > 0.15 && drier < -0.15, "{wetter} {drier}");
        assert!(habit.for_wetness(0.9, usual) < 1.2, "bounded");
        let before = habit.clone();
        habit.learn_before(0.30, true);
        assert_eq!(habit, before);
        assert!(Habit::default().for_wetness(0.3, usual).abs() < 1e-9, "nothing is known yet");
    }
}
