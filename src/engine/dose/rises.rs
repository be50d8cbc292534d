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
#[cfg(test)]
mod stories;
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
/// Episodes by which a habit is known so well that nothing is learnt while something is suspected; what fewer taught, as
/// many others unteach.
const WELL_KNOWN: f32 = 20.0;
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

/// How floats answered an episode, by basin.
#[derive(Clone, Copy, Debug)]
pub(super) struct Answers<'a> {
    /// Whether each rose; `None` where there is no float that is believed.
    pub(super) rose: &'a [Option<bool>],
    /// Whether its basin is known to soak slowly: it rises in smaller doses than before, whatever happens elsewhere.
    pub(super) slow: &'a [bool],
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

    /// Takes how floats answered an episode of so many litres, if a meter told, that began at `at`. Gives back what that
    /// says of each basin, given what is `believed`.
    pub(super) fn note(
        &mut self,
        system: &System,
        at: EventTime,
        answers: Answers<'_>,
        litres: Option<f64>,
        believed: &[Cause],
    ) -> Vec<Says> {
        let says: Vec<Says> = match litres {
            Some(litres) => self.by_litres(system, answers, litres.ln(), believed),
            None => (0..answers.rose.len()).map(|i| self.by_others(system, i, answers)).collect(),
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
        Answers { rose, slow }: Answers<'_>,
        log_litres: f64,
        believed: &[Cause],
    ) -> Vec<Says> {
        let thresholds: Vec<&Threshold> = self.basins.iter().map(|basin| &basin.threshold).collect();
        let known =
            rose.iter().zip(&thresholds).map(|(rose, threshold)| rose.filter(|_| threshold.is_known()));
        let dose = MeteredDose { system, rose: known.collect(), slow, log_litres, believed };
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

    fn by_others(&mut self, system: &System, i: usize, answers: Answers<'_>) -> Says {
        let Some(own) = answers.rose[i] else { return Says::default() };
        let either =
            |ratio: f64, usual: f64| Says { blocked: ratio, jammed: ratio, own: ratio, usual, rose: own };
        let basin = &mut self.basins[i];
        let Some(kind) = kind(system, i, answers) else {
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
        if habit.of < WELL_KNOWN || !basin.tests.is_suspicious() {
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

    /// A basin's floor is another, and what raises its float has to be learnt.
    pub(super) fn forget(&mut self, basin: BasinIx) {
        self.basins[basin.0 as usize] = Rising::default();
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
fn kind(system: &System, i: usize, Answers { rose, slow }: Answers<'_>) -> Option<usize> {
    let is_near = |other: usize| is_near(system, BasinIx(i as u16), BasinIx(other as u16));
    let up = |near: bool| {
        let asked = |other: usize| other != i && !slow[other] && is_near(other) == near;
        let asked = rose.iter().enumerate().filter(|&(other, _)| asked(other));
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
