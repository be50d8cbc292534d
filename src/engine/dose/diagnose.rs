//! Which explanation fits what changed: a splitter off level, an outlet blocked, or a probe that errs.

use super::recent::Recent;
use crate::model::{BasinIx, EventTime, SplitterIx, System};
use crate::stats::bayes::{logistic, logit, normalise};

/// Spread that a basin's habit may drift by, whatever the doses say (logarithm).
const DRIFT: f64 = 0.10;
/// Extra spread where nothing was resolved: the number is only a bound.
const BOUND_SPREAD: f64 = 0.5;
/// Explanations less probable than this are not told.
const LEAST_PROBABILITY: f64 = 0.02;
/// Prior log odds: outlets clog more often than splitters settle, and both more often than probes lose their
/// gain without other signs (common practice, no published source).
const PRIOR_BLOCKED: f64 = 0.0;
const PRIOR_TILTED: f64 = -0.2;
const PRIOR_PROBE: f64 = -1.2;
/// Spread of how far splitters go off (logarithm of the ratio of their sides).
const TILT_SPREAD: f64 = 1.2;
/// How an effect goes with the logarithm of flow: tilt fades, a constriction grows.
const TILT_SLOPE: f64 = -0.3;
const BLOCK_SLOPE: f64 = 0.3;
const SLOPE_SPREAD: f64 = 0.5;

/// One explanation of a change.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Cause {
    /// A splitter divides this fraction to side a.
    Tilted { splitter: SplitterIx, share_a: f64 },
    /// An outlet has lost this part of its water to its sibling.
    Blocked { basin: BasinIx, lost: f64 },
    /// A probe shows this much (logarithm) more or less than it did.
    Probe { basin: BasinIx, change: f64 },
}

/// An explanation with its probability.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Explanation {
    pub(super) cause: Cause,
    pub(super) probability: f64,
}

/// What changed since a time, by basin: mean logarithm of share over habit, and its variance.
struct Change<'a> {
    system: &'a System,
    means: Vec<Option<(f64, f64)>>,
    /// The doses' size comes from the same probes, so that a common offset is free.
    offset_is_free: bool,
}

/// Ranks the explanations of a change at `splitter` since `since`, most probable first.
pub(super) fn explain(
    system: &System,
    recent: &Recent,
    since: EventTime,
    splitter: SplitterIx,
    has_meter: bool,
) -> Vec<Explanation> {
    let means = (0..system.basins.len()).map(|i| {
        let lately = recent.lately(i, since)?;
        // A few doses alike say little about their spread.
        let variance = lately.variance.max(0.03 / f64::from(lately.doses));
        Some((lately.mean, variance + DRIFT * DRIFT + lately.below * BOUND_SPREAD * BOUND_SPREAD))
    });
    let change = Change { system, means: means.collect(), offset_is_free: !has_meter };
    let slope = slope_of_effect(system, recent, since, splitter);
    let mut causes: Vec<(f64, Cause)> = Vec::new();
    for ix in (0..system.splitters.len() as u16).map(SplitterIx) {
        let (fit, share_a) = change.best_tilt(ix);
        let flow = if ix == splitter { slope_fit(slope, TILT_SLOPE) } else { 0.0 };
        causes.push((PRIOR_TILTED + fit + flow, Cause::Tilted { splitter: ix, share_a }));
    }
    for basin in system.basin_ixs() {
        if let Some((fit, lost)) = change.best_blockage(basin) {
            let flow = slope_fit(slope, BLOCK_SLOPE);
            causes.push((PRIOR_BLOCKED + fit + flow, Cause::Blocked { basin, lost }));
        }
        if let Some((fit, changed)) = change.best_probe(basin) {
            causes.push((PRIOR_PROBE + fit, Cause::Probe { basin, change: changed }));
        }
    }
    rank(causes)
}

fn rank(mut causes: Vec<(f64, Cause)>) -> Vec<Explanation> {
    let mut weights: Vec<f64> = causes.iter().map(|(weight, _)| *weight).collect();
    normalise(&mut weights);
    for (cause, probability) in causes.iter_mut().zip(weights) {
        cause.0 = probability;
    }
    causes.sort_by(|a, b| b.0.total_cmp(&a.0));
    let told = causes.into_iter().filter(|(probability, _)| *probability >= LEAST_PROBABILITY);
    told.map(|(probability, cause)| Explanation { cause, probability }).collect()
}

impl Change<'_> {
    /// Log likelihood of the means if each basin's share changed by `predicted` (logarithm).
    fn fit(&self, predicted: impl Fn(usize) -> f64) -> f64 {
        let known = || self.means.iter().enumerate().filter_map(|(i, mean)| mean.map(|(m, v)| (i, m, v)));
        let offset = if self.offset_is_free {
            let weight: f64 = known().map(|(_, _, v)| 1.0 / v).sum();
            known().map(|(i, m, v)| (m - predicted(i)) / v).sum::<f64>() / weight
        } else {
            0.0
        };
        // Bounded: one basin that behaves like nothing known must not decide everything.
        known().map(|(i, m, v)| -0.5 * ((m - predicted(i) - offset).powi(2) / v).min(30.0)).sum()
    }

    fn best_tilt(&self, splitter: SplitterIx) -> (f64, f64) {
        let design_a = self.system.splitter(splitter).split[0];
        let sides: Vec<Option<usize>> =
            self.system.basin_ixs().map(|basin| self.system.tree().side_of(splitter, basin)).collect();
        best((-60..=60).map(|step| {
            let share_a = logistic(logit(design_a) + 0.1 * f64::from(step));
            let change = [(share_a / design_a).ln(), ((1.0 - share_a) / (1.0 - design_a)).ln()];
            let unlikely = 0.5 * (0.1 * f64::from(step) / TILT_SPREAD).powi(2);
            (self.fit(|i| sides[i].map_or(0.0, |side| change[side])) - unlikely, share_a)
        }))
    }

    /// What an outlet does not take goes to the other side of its splitter.
    fn best_blockage(&self, basin: BasinIx) -> Option<(f64, f64)> {
        let tree = self.system.tree();
        let parent = tree.parent(basin)?;
        let on_other_side = |other: BasinIx| tree.side_of(parent.splitter, other) == Some(1 - parent.side);
        let others: Vec<bool> = self.system.basin_ixs().map(on_other_side).collect();
        let split = self.system.splitter(parent.splitter).split;
        let ratio = split[parent.side] / split[1 - parent.side];
        self.means[basin.0 as usize]?;
        Some(best((1..=24).map(|step| {
            let lost = 1.0 - 0.8_f64.powi(step);
            let (own, gain) = ((1.0 - lost).ln(), (1.0 + lost * ratio).ln());
            let predicted = |i: usize| {
                if i == basin.0 as usize {
                    own
                } else if others[i] {
                    gain
                } else {
                    0.0
                }
            };
            // Small losses are seldom a blockage.
            (self.fit(predicted) + lost.ln(), lost)
        })))
    }

    fn best_probe(&self, basin: BasinIx) -> Option<(f64, f64)> {
        let own = basin.0 as usize;
        self.means[own]?;
        Some(best((-30..=30).map(|step| {
            let change = 0.1 * f64::from(step);
            (self.fit(|i| if i == own { change } else { 0.0 }), change)
        })))
    }
}

/// The candidate that fits best.
fn best(candidates: impl Iterator<Item = (f64, f64)>) -> (f64, f64) {
    candidates.fold((f64::NEG_INFINITY, 0.0), |best, next| if next.0 > best.0 { next } else { best })
}

/// Slope of the change's size on the logarithm of the dose, with its variance; none for few doses.
fn slope_of_effect(
    system: &System,
    recent: &Recent,
    since: EventTime,
    splitter: SplitterIx,
) -> Option<(f64, f64)> {
    let mut line = crate::stats::regression::Line::default();
    let mut sum = 0.0;
    for past in recent.since(since) {
        let mean_of = |side: usize| {
            let on_side = system.basin_ixs().filter(|&b| system.tree().side_of(splitter, b) == Some(side));
            let shares = on_side.filter_map(|b| past.share(b.0 as usize));
            let (total, count) = shares.fold((0.0, 0), |(t, n), share| (t + share, n + 1));
            (count > 0).then(|| total / f64::from(count))
        };
        if let (Some(a), Some(b)) = (mean_of(0), mean_of(1)) {
            line.observe(f64::from(past.log_size), a - b, 1.0);
            sum += a - b;
        }
    }
    let fit = line.fit()?;
    let variance = fit.slope.variance * fit.residual_variance.max(0.02);
    (variance.is_finite() && variance < 0.5).then(|| (fit.slope.value * sum.signum(), variance))
}

fn slope_fit(slope: Option<(f64, f64)>, predicted: f64) -> f64 {
    slope.map_or(0.0, |(slope, variance)| {
        -0.5 * (slope - predicted).powi(2) / (variance + SLOPE_SPREAD * SLOPE_SPREAD)
    })
}
