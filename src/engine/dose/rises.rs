//! Which floats rise together: where only floats tell of water, an outlet that lets nothing through keeps its float down
//! while those of other basins rise.
//!
//! How long floats stay up says little of how much water came, but that they rise is plain. For each basin the habit is
//! how often its float rises in episodes in which so many of the others do; a sequential test sums what speaks for an
//! outlet that passes nothing. Basins that would get the blocked basin's water rise oftener then, and are not counted
//! among the others, if there are any more.

use serde::{Deserialize, Serialize};

use super::alarm::Test;
use crate::model::{BasinIx, EventTime, System};

/// Kinds of episodes: those in which only floats rose that would get the blocked basin's water, and those in which few,
/// about half or most of the others did.
const KINDS: usize = 4;
/// Episodes that a habit rests on before it counts, and at most.
const LEAST: f32 = 4.0;
const MOST: f32 = 60.0;
/// A habit is drawn towards never by so many episodes.
const DRAWN: f32 = 1.0;
/// The float below a blocked outlet rises in this part of such episodes, by rain or from a neighbour.
const RISES_ANYWAY: f64 = 0.02;
/// Floats that get the blocked basin's water rise oftener than before by this factor.
const OFTENER: f64 = 2.0;
/// Sums from which nothing is learnt, and from which the outlet counts as blocked.
const SUSPICION: f64 = 4.0;
const LIMIT: f64 = 9.0;
/// A float that rises alone, though it is not known how often it does, speaks so much against a blocked outlet.
const ALONE: f64 = 3.0;

/// The habits and tests of a system.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Rises {
    basins: Vec<Rising>,
}

/// One basin's.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
struct Rising {
    /// By the part of the others that rose: episodes, and those in which its own float rose too.
    habit: [Habit; KINDS],
    test: Test,
    /// Episodes since the test began in which others rose.
    asked: u16,
    /// Of those, how many its float would usually have risen in.
    expected: f32,
}

#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
struct Habit {
    of: f32,
    rose: f32,
}

/// An outlet below which the float stays down.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Missing {
    pub(super) basin: BasinIx,
    /// The first episode.
    pub(super) since: EventTime,
    /// Log likelihood ratio.
    pub(super) sum: f64,
    /// Episodes in which others rose, and how many of them its float would usually have risen in.
    pub(super) asked: u16,
    pub(super) expected: f64,
}

impl Habit {
    fn part(self) -> Option<f64> {
        (self.of >= LEAST).then(|| f64::from(self.rose / (self.of + DRAWN)))
    }

    fn learn(&mut self, rose: bool) {
        if self.of >= MOST {
            let kept = 1.0 - 1.0 / self.of;
            (self.of, self.rose) = (self.of * kept, self.rose * kept);
        }
        self.of += 1.0;
        self.rose += f32::from(u8::from(rose));
    }
}

impl Rises {
    pub(super) fn new(basins: usize) -> Self {
        Self { basins: vec![Rising::default(); basins] }
    }

    /// Takes which floats rose in an episode that began at `at`; `None` where there is no float that is believed. Gives
    /// back what that says for each basin's outlet passing nothing, as a log likelihood ratio.
    pub(super) fn note(&mut self, system: &System, at: EventTime, rose: &[Option<bool>]) -> Vec<f64> {
        (0..rose.len()).map(|i| self.note_one(system, at, i, rose)).collect()
    }

    fn note_one(&mut self, system: &System, at: EventTime, i: usize, rose: &[Option<bool>]) -> f64 {
        let Some(own) = rose[i] else { return 0.0 };
        let basin = &mut self.basins[i];
        let Some(kind) = kind(system, i, rose) else {
            if own {
                basin.take(at, -ALONE, 0.0);
            }
            return if own { -ALONE } else { 0.0 };
        };
        let habit = &mut basin.habit[kind];
        let Some(usual) = habit.part() else {
            habit.learn(own);
            return 0.0;
        };
        let usual = (if kind == 0 { usual / OFTENER } else { usual }).clamp(RISES_ANYWAY, 1.0 - RISES_ANYWAY);
        let ratio =
            if own { (RISES_ANYWAY / usual).ln() } else { ((1.0 - RISES_ANYWAY) / (1.0 - usual)).ln() };
        if basin.test.sum() < SUSPICION {
            habit.learn(own);
        }
        basin.take(at, ratio, usual);
        ratio
    }

    /// The basin, of those of which `may` holds, whose float has stayed down for so long that its outlet counts as blocked.
    pub(super) fn blocked(&self, may: impl Fn(BasinIx) -> bool) -> Option<BasinIx> {
        let signals = self.basins.iter().enumerate().filter(|(_, basin)| basin.test.signal(LIMIT).is_some());
        let told = signals.map(|(i, basin)| (BasinIx(i as u16), basin.test.sum())).filter(|(i, _)| may(*i));
        told.max_by(|a, b| a.1.total_cmp(&b.1)).map(|(basin, _)| basin)
    }

    /// What speaks for a basin's outlet passing nothing.
    pub(super) fn missing(&self, basin: BasinIx) -> Missing {
        let Rising { test, asked, expected, .. } = self.basins[basin.0 as usize];
        Missing { basin, since: test.onset(), sum: test.sum(), asked, expected: f64::from(expected) }
    }

    /// What is believed has changed: what was gathered against it counts no longer.
    pub(super) fn restart(&mut self) {
        for basin in &mut self.basins {
            *basin = Rising { habit: basin.habit, ..Rising::default() };
        }
    }
}

impl Rising {
    fn take(&mut self, at: EventTime, ratio: f64, usual: f64) {
        if self.test.sum() <= 0.0 {
            (self.asked, self.expected) = (0, 0.0);
        }
        self.test.note(at, ratio);
        self.asked = self.asked.saturating_add(1);
        self.expected += usual as f32;
    }
}

/// The kind of an episode for basin `i`, by the other floats that rose; none if none did.
fn kind(system: &System, i: usize, rose: &[Option<bool>]) -> Option<usize> {
    let parent = system.tree().parent(BasinIx(i as u16))?;
    let is_near =
        |other: usize| system.tree().side_of(parent.splitter, BasinIx(other as u16)) == Some(1 - parent.side);
    let up = |near: bool| {
        let asked = rose.iter().enumerate().filter(|&(other, _)| other != i && is_near(other) == near);
        asked.filter_map(|(_, rose)| *rose).fold((0, 0), |(of, up), rose| (of + 1, up + usize::from(rose)))
    };
    let ((_, near_up), (far, far_up)) = (up(true), up(false));
    match (near_up, far_up) {
        (0, 0) => None,
        (_, 0) => Some(0),
        // Thirds.
        _ => Some(1 + ((KINDS - 1) * far_up - 1) / far),
    }
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use super::*;
    use crate::engine::stories::yard_of;

    fn court() -> Arc<System> {
        yard_of(&["a", "b", "c", "d"], &[("s1", ["s2", "s3"]), ("s2", ["a", "b"]), ("s3", ["c", "d"])])
    }

    /// A court after 40 large doses, in each of which all floats rose, and 40 of middle size, in which d's did.
    fn taught(system: &System) -> Rises {
        let mut rises = Rises::new(4);
        for n in 0..40 {
            rises.note(system, hour(2 * n), &[Some(true); 4]);
            rises.note(system, hour(2 * n + 1), &[Some(false), Some(false), Some(false), Some(true)]);
        }
        assert_eq!(rises.blocked(|_| true), None);
        rises
    }

    fn hour(n: i64) -> EventTime {
        EventTime::from_secs(3600 * n)
    }

    #[test]
    fn a_float_that_stays_down_while_others_rise_is_missed_soon() {
        let system = court();
        let mut rises = taught(&system);
        let found = (0..20).find(|&n| {
            rises.note(&system, hour(100 + n), &[Some(true), Some(true), Some(false), Some(true)]);
            rises.blocked(|_| true) == Some(BasinIx(2))
        });
        assert!(found.is_some_and(|n| n < 5), "{found:?}");
        let missing = rises.missing(BasinIx(2));
        assert_eq!(missing.since, hour(100));
        assert!(missing.expected > 0.9 * f64::from(missing.asked), "{missing:?}");
        assert_eq!(rises.blocked(|basin| basin != BasinIx(2)), None);
        rises.restart();
        assert_eq!(rises.blocked(|_| true), None);
    }

    #[test]
    fn a_neighbour_whose_float_rises_oftener_blocks_nobody() {
        let system = court();
        let mut rises = taught(&system);
        for n in 0..300 {
            rises.note(&system, hour(100 + n), &[Some(false), Some(false), Some(false), Some(true)]);
        }
        assert_eq!(rises.blocked(|_| true), None);
    }

    #[test]
    fn doses_that_raise_no_float_and_floats_that_nobody_believes_say_nothing() {
        let system = court();
        let mut rises = taught(&system);
        let before = rises.clone();
        for n in 0..300 {
            rises.note(&system, hour(100 + n), &[Some(false); 4]);
            rises.note(&system, hour(100 + n), &[None, None, Some(false), None]);
        }
        assert_eq!(rises, before);
    }

    #[test]
    fn two_basins_are_held_against_each_other_with_reserve() {
        let system = yard_of(&["a", "b"], &[("s1", ["a", "b"])]);
        let mut rises = Rises::new(2);
        (0..40).for_each(|n| _ = rises.note(&system, hour(n), &[Some(n % 2 == 0), Some(true)]));
        let found = (0..100).find(|&n| {
            rises.note(&system, hour(100 + n), &[Some(false), Some(true)]);
            rises.blocked(|_| true) == Some(BasinIx(0))
        });
        // Every second rise was usual, of which every fourth is counted on: 9 / ln (0.98 / 0.75) doses.
        assert!(found.is_some_and(|n| (25..50).contains(&n)), "{found:?}");
    }
}
