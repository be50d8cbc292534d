//! Which floats rise: where only floats tell of water, an outlet that lets nothing through keeps its float down while
//! that of its neighbour rises in smaller doses than it used to.
//!
//! How long floats stay up says little of how much water came, but that they rise is plain. With a meter, each float has
//! its [`Threshold`]; a cause moves the litres that come to it, and all floats together are moved a little by what they
//! have in common. Without one, the habit of a float is how often it rises in episodes in which so many of the others do;
//! floats that would get the blocked basin's water are not counted among the others, if there are any more. Sequential
//! tests sum what speaks for an outlet that passes nothing, and for a float that is jammed.

mod by_litres;
mod missed;
mod threshold;

use serde::{Deserialize, Serialize};

use self::by_litres::MeteredDose;
use self::missed::Tests;
pub(super) use self::missed::{Missing, Risen, Says};
use self::threshold::Threshold;
use super::cause::Cause;
use super::diagnose::sum;
use crate::model::{BasinIx, EventTime, System};
use crate::stats::bayes::{logistic, logit};

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
/// Probability that the neighbour's floor silts up rather, before the own float is asked (common practice, no published
/// source).
const SILTS: f64 = 0.6;
/// A float that rises alone, though it is not known how often it does, speaks so much against a blocked outlet.
const ALONE: f64 = 3.0;
/// What a blocked outlet passes, and what a jammed float shows (logarithm), as far as floats can tell.
const PASSES: f64 = 0.02;
const JAMMED_SHOWS: f64 = -3.9;

/// The cause that an outlet passes nothing.
pub(super) fn blocked(basin: BasinIx) -> Cause {
    Cause::Blocked { basin, passes: PASSES }
}

/// The cause that a float is jammed.
pub(super) fn jammed(basin: BasinIx) -> Cause {
    Cause::Sensor { basin, change: JAMMED_SHOWS }
}

/// The habits and tests of a system.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Rises {
    basins: Vec<Rising>,
}

/// One basin's.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
struct Rising {
    threshold: Threshold,
    /// By the part of the others that rose: episodes, and those in which its own float rose too.
    habit: [Habit; KINDS],
    tests: Tests,
}

#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
struct Habit {
    of: f32,
    rose: f32,
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

    /// Takes which floats rose in an episode of so many litres, if a meter told, that began at `at`; `None` where there is
    /// no float that is believed. Gives back what that says of each basin, given what is `believed`.
    pub(super) fn note(
        &mut self,
        system: &System,
        at: EventTime,
        rose: &[Option<bool>],
        litres: Option<f64>,
        believed: &[Cause],
    ) -> Vec<Says> {
        let says: Vec<Says> = match litres {
            Some(litres) => self.by_litres(system, rose, litres.ln(), believed),
            None => (0..rose.len()).map(|i| self.by_others(system, i, rose)).collect(),
        };
        for (ix, basin) in system.basin_ixs().zip(&mut self.basins) {
            let mut beside = Risen::default();
            for (_, says) in system.basin_ixs().zip(&says).filter(|(other, _)| is_near(system, ix, *other)) {
                beside += says.risen();
            }
            basin.tests.take(at, &says[ix.0 as usize], beside);
        }
        says
    }

    fn by_litres(
        &mut self,
        system: &System,
        rose: &[Option<bool>],
        log_litres: f64,
        believed: &[Cause],
    ) -> Vec<Says> {
        let thresholds: Vec<&Threshold> = self.basins.iter().map(|basin| &basin.threshold).collect();
        let known =
            rose.iter().zip(&thresholds).map(|(rose, threshold)| rose.filter(|_| threshold.is_known()));
        let dose = MeteredDose { system, rose: known.collect(), log_litres, believed };
        let says = dose.says(&thresholds);
        if !self.basins.iter().any(|basin| basin.tests.is_suspicious()) {
            for (i, (basin, rose)) in self.basins.iter_mut().zip(rose).enumerate() {
                if let Some(rose) = *rose {
                    basin.threshold.learn(log_litres + sum(system, believed, i, 1.0), rose);
                }
            }
        }
        says
    }

    fn by_others(&mut self, system: &System, i: usize, rose: &[Option<bool>]) -> Says {
        let Some(own) = rose[i] else { return Says::default() };
        let either =
            |ratio: f64, usual: f64| Says { blocked: ratio, jammed: ratio, own: ratio, usual, rose: own };
        let basin = &mut self.basins[i];
        let Some(kind) = kind(system, i, rose) else {
            return if own { either(-ALONE, 0.0) } else { Says::default() };
        };
        let habit = &mut basin.habit[kind];
        let Some(usual) = habit.part() else {
            habit.learn(own);
            return Says::default();
        };
        let usual = (if kind == 0 { usual / OFTENER } else { usual }).clamp(RISES_ANYWAY, 1.0 - RISES_ANYWAY);
        let ratio =
            if own { (RISES_ANYWAY / usual).ln() } else { ((1.0 - RISES_ANYWAY) / (1.0 - usual)).ln() };
        if !basin.tests.is_suspicious() {
            habit.learn(own);
        }
        either(ratio, usual)
    }

    /// The basin, of those of which `may` holds, whose float has stayed down for so long that something counts as wrong.
    pub(super) fn down(&self, system: &System, may: impl Fn(BasinIx) -> bool) -> Option<Missing> {
        let down =
            system.basin_ixs().filter(|basin| self.basins[basin.0 as usize].tests.is_signal() && may(*basin));
        down.map(|basin| self.missing(system, basin)).max_by(|a, b| a.sum.total_cmp(&b.sum))
    }

    /// Floats that have stayed down for so long that they count as jammed, where probes tell that water came.
    pub(super) fn jammed(&self, system: &System) -> Vec<Missing> {
        let told = |ix: BasinIx| self.basins[ix.0 as usize].tests.is_jammed(ix);
        system.basin_ixs().filter_map(told).collect()
    }

    /// What speaks for a basin's float staying down.
    pub(super) fn missing(&self, system: &System, basin: BasinIx) -> Missing {
        let tests = &self.basins[basin.0 as usize].tests;
        let missing = tests.missing(basin);
        let mut beside = system.basin_ixs().filter(|other| is_near(system, basin, *other));
        let only = beside.next().filter(|_| beside.next().is_none());
        let silts = (1.0 - missing.jammed) * logistic(logit(SILTS) - tests.own());
        let silts = only.filter(|_| tests.rests_on_neighbours()).map(|neighbour| (neighbour, silts));
        Missing { silts, ..missing }
    }

    /// What is believed has changed: what was gathered against it counts no longer.
    pub(super) fn restart(&mut self) {
        for basin in &mut self.basins {
            basin.tests = Tests::default();
        }
    }
}

/// Whether what an outlet does not let through comes to the other basin.
fn is_near(system: &System, basin: BasinIx, other: BasinIx) -> bool {
    system
        .tree()
        .parent(basin)
        .is_some_and(|parent| system.tree().side_of(parent.splitter, other) == Some(1 - parent.side))
}

/// The kind of an episode for basin `i`, by the other floats that rose; none if none did.
fn kind(system: &System, i: usize, rose: &[Option<bool>]) -> Option<usize> {
    let is_near = |other: usize| is_near(system, BasinIx(i as u16), BasinIx(other as u16));
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
            rises.note(system, hour(2 * n), &[Some(true); 4], None, &[]);
            rises.note(
                system,
                hour(2 * n + 1),
                &[Some(false), Some(false), Some(false), Some(true)],
                None,
                &[],
            );
        }
        assert_eq!(down(&rises, system), None);
        rises
    }

    fn down(rises: &Rises, system: &System) -> Option<BasinIx> {
        rises.down(system, |_| true).map(|missing| missing.basin)
    }

    fn hour(n: i64) -> EventTime {
        EventTime::from_secs(3600 * n)
    }

    #[test]
    fn a_float_that_stays_down_while_others_rise_is_missed_soon() {
        let system = court();
        let mut rises = taught(&system);
        let found = (0..20).find(|&n| {
            rises.note(&system, hour(100 + n), &[Some(true), Some(true), Some(false), Some(true)], None, &[]);
            down(&rises, &system) == Some(BasinIx(2))
        });
        assert!(found.is_some_and(|n| n < 5), "{found:?}");
        let missing = rises.missing(&system, BasinIx(2));
        assert_eq!((missing.since, missing.risen.times, missing.silts), (hour(100), 0, None));
        assert!(missing.risen.expected > 0.9 * f32::from(missing.asked), "{missing:?}");
        // Nobody knows how large these doses were: what its neighbour does says nothing of a jam.
        assert!((missing.jammed - 0.12).abs() < 1e-9, "{missing:?}");
        assert_eq!(rises.down(&system, |basin| basin != BasinIx(2)), None);
        rises.restart();
        assert_eq!(down(&rises, &system), None);
    }

    #[test]
    fn a_neighbour_whose_float_rises_oftener_blocks_nobody() {
        let system = court();
        let mut rises = taught(&system);
        for n in 0..300 {
            rises.note(
                &system,
                hour(100 + n),
                &[Some(false), Some(false), Some(false), Some(true)],
                None,
                &[],
            );
        }
        assert_eq!(down(&rises, &system), None);
    }

    #[test]
    fn doses_that_raise_no_float_and_floats_that_nobody_believes_say_nothing() {
        let system = court();
        let mut rises = taught(&system);
        let before = rises.clone();
        for n in 0..300 {
            rises.note(&system, hour(100 + n), &[Some(false); 4], None, &[]);
            rises.note(&system, hour(100 + n), &[None, None, Some(false), None], None, &[]);
        }
        assert_eq!(rises, before);
    }

    #[test]
    fn two_basins_are_held_against_each_other_with_reserve() {
        let system = yard_of(&["a", "b"], &[("s1", ["a", "b"])]);
        let mut rises = Rises::new(2);
        (0..40).for_each(|n| _ = rises.note(&system, hour(n), &[Some(n % 2 == 0), Some(true)], None, &[]));
        let found = (0..100).find(|&n| {
            rises.note(&system, hour(100 + n), &[Some(false), Some(true)], None, &[]);
            down(&rises, &system) == Some(BasinIx(0))
        });
        // Every second rise was usual, of which every fourth is counted on: 9 / ln (0.98 / 0.75) doses.
        assert!(found.is_some_and(|n| (25..50).contains(&n)), "{found:?}");
    }

    /// Doses of 20 to 250 L without rhythm, of which those above 110 L raise every float.
    fn litres(n: i64) -> f64 {
        20.0 * 12.5_f64.powf((n * 7919 % 101) as f64 / 101.0)
    }

    /// Takes dose `n`, in which the floats rise whose basins got as much as 110 L usually bring.
    fn metered(rises: &mut Rises, system: &System, n: i64, got: [f64; 4]) {
        let rose = got.map(|part| Some(litres(n) * part > 110.0));
        rises.note(system, hour(n), &rose, Some(litres(n)), &[]);
    }

    /// How many doses it takes until something counts as wrong, and what.
    fn first_down(system: &System, got: [f64; 4]) -> (i64, Missing) {
        let mut rises = Rises::new(4);
        (0..150).for_each(|n| metered(&mut rises, system, n, [1.0; 4]));
        assert_eq!(down(&rises, system), None);
        let found = (150..400).find_map(|n| {
            metered(&mut rises, system, n, got);
            Some((n - 149, rises.down(system, |_| true)?))
        });
        found.expect("something is wrong")
    }

    #[test]
    fn a_neighbour_that_rises_in_smaller_doses_tells_a_blocked_outlet_from_a_jammed_float() {
        let system = court();
        let (doses, blocked) = first_down(&system, [1.0, 1.0, 0.0, 2.0]);
        assert_eq!(blocked.basin, BasinIx(2));
        assert!(doses <= 10 && blocked.jammed < 0.1, "{doses} {blocked:?}");
        assert!(blocked.silts.is_some_and(|(beside, p)| beside == BasinIx(3) && p < 0.3), "{blocked:?}");
        assert!(f32::from(blocked.beside.times) > 1.3 * blocked.beside.expected, "{blocked:?}");
        let (later, jammed) = first_down(&system, [1.0, 1.0, 0.0, 1.0]);
        assert_eq!(jammed.basin, BasinIx(2));
        assert!(later > doses && jammed.jammed > 0.6, "{later} {jammed:?}");
    }

    #[test]
    fn a_floor_that_silts_up_beside_it_blocks_no_outlet() {
        let system = court();
        let mut rises = Rises::new(4);
        (0..150).for_each(|n| metered(&mut rises, &system, n, [1.0; 4]));
        let silting = |n: i64| 1.0 + ((n - 150) as f64 / 150.0).min(1.0);
        for n in 150..500 {
            metered(&mut rises, &system, n, [1.0, 1.0, 1.0, silting(n)]);
            assert_eq!(down(&rises, &system), None, "{n}");
        }
    }

    #[test]
    fn doses_that_all_floats_answer_alike_accuse_nobody() {
        let system = court();
        let mut rises = Rises::new(4);
        (0..150).for_each(|n| metered(&mut rises, &system, n, [1.0; 4]));
        for n in 150..400 {
            let all = if n % 3 == 0 { 1.3 } else { 0.75 };
            metered(&mut rises, &system, n, [all; 4]);
            assert_eq!(down(&rises, &system), None, "{n}");
        }
    }
}
