//! How likely what the basins showed is, if each one's water had changed by a given factor.
//!
//! Misses have long tails (Student's t with few degrees of freedom), bounds count by the probability of
//! lying beyond them, and what all basins have in common is taken out.

use serde::{Deserialize, Serialize};

use super::measure::{Part, PartState};
use crate::stats::robust::median;

/// Degrees of freedom of a miss.
const FREEDOM: f64 = 3.0;
/// Rounds of reweighting; more change nothing that matters.
const ROUNDS: usize = 4;
/// A bound may be wrong with this probability at least, and with this times the square of the sensor's deviation: the
/// worse a sensor, the oftener it shows nothing of what came.
const BOUND_ERRS: f64 = 0.0003;
const BOUND_ERRS_BY: f64 = 0.03;
/// Of little water a probe may show nothing at all: where less than this many times the bound would show, bounds are wrong
/// the oftener, with this power (by the tuning seeds).
const BOUND_SURE: f64 = 9.0;
const BOUND_POWER: i32 = 5;
/// How much more or less a sensor shows of more or less water is known but for this part of it, and for this many of
/// its own deviations: of a small dose, a little less may show nothing.
const RESPONSE_ERRS: f64 = 0.2;
const RESPONSE_ERRS_SMALL: f64 = 1.5;

/// How far the basins may miss together.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Common {
    /// Prior mean and standard deviation (logarithm).
    pub(super) mean: f64,
    pub(super) spread: f64,
}

impl Common {
    fn weight(self) -> f64 {
        1.0 / (self.spread * self.spread)
    }
}

/// What one basin that is heard of missed, if its water changed so much.
struct Miss<'a> {
    part: &'a Part,
    by: f64,
    deviation: f64,
}

fn misses(parts: &[Part], change: impl Fn(usize) -> f64) -> Vec<Miss<'_>> {
    let heard = parts.iter().enumerate().filter(|(_, part)| part.state != PartState::Unknown);
    heard
        .map(|(i, part)| {
            let moved = part.moves(change(i));
            Miss { part, by: f64::from(part.miss) - moved, deviation: deviation(part, moved) }
        })
        .collect()
}

/// What all basins have in common, if basin `i`'s log water changed by `change(i)`.
pub(super) fn common(parts: &[Part], change: impl Fn(usize) -> f64, prior: Common) -> f64 {
    in_common(&misses(parts, change), prior)
}

fn in_common(misses: &[Miss<'_>], prior: Common) -> f64 {
    if misses.is_empty() {
        return prior.mean;
    }
    // With few basins the middle is a poor start; the prior knows where it would be.
    let mut all: Vec<f64> = misses.iter().map(|miss| miss.by).chain([prior.mean]).collect();
    let mut common = median(&mut all);
    for _ in 0..ROUNDS {
        let (mut weight, mut sum) = (prior.weight(), prior.weight() * prior.mean);
        for &Miss { by, deviation, .. } in misses {
            let z = (by - common) / deviation;
            let w = (FREEDOM + 1.0) / (FREEDOM + z * z) / (deviation * deviation);
            weight += w;
            sum += w * by;
        }
        common = sum / weight;
    }
    common
}

/// Log likelihood of an episode, if basin `i`'s log water changed by `change(i)`, up to a constant.
pub(super) fn log_likelihood(parts: &[Part], change: impl Fn(usize) -> f64, prior: Common) -> f64 {
    let misses = misses(parts, change);
    let common = in_common(&misses, prior);
    let each = misses.iter().map(|&Miss { part, by, deviation }| {
        let z = (by - common) / deviation;
        match part.state {
            PartState::Unknown => 0.0,
            PartState::Measured => {
                -0.5 * (FREEDOM + 1.0) * (z * z / FREEDOM).ln_1p()
                    - (deviation / f64::from(part.deviation)).ln()
            }
            PartState::Below => beyond(z, bound_errs(part)),
            PartState::Above => beyond(-z, bound_errs(part)),
        }
    });
    let together = (common - prior.mean) / prior.spread;
    each.sum::<f64>() - 0.5 * together * together
}

/// Deviation of a part that should have moved.
fn deviation(part: &Part, moved: f64) -> f64 {
    let own = f64::from(part.deviation);
    let errs = (RESPONSE_ERRS + RESPONSE_ERRS_SMALL * own).min(1.0);
    f64::hypot(own, errs * moved)
}

/// Probability that a bound is wrong.
fn bound_errs(part: &Part) -> f64 {
    let by_deviation = BOUND_ERRS_BY * f64::from(part.deviation).powi(2);
    let by_size = if part.state == PartState::Below {
        let would_show = f64::from(-part.miss).exp();
        BOUND_ERRS * (BOUND_SURE / would_show).powi(BOUND_POWER)
    } else {
        0.0
    };
    BOUND_ERRS.max(by_deviation).max(by_size).min(0.5)
}

/// Log probability of lying below a bound that is `z` deviations above what was predicted and wrong with probability
/// `errs`.
fn beyond(z: f64, errs: f64) -> f64 {
    // The logistic curve of this slope is within 0.01 of the normal one (from memory).
    let inside = 1.0 / (1.0 + (-1.702 * z).exp());
    (errs + (1.0 - errs) * inside).ln()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn part(miss: f32, state: PartState) -> Part {
        Part { log_shown: 0.0, miss, deviation: 0.1, slope: 1.0, full: 0.0, stood: false, state }
    }

    const FREE: Common = Common { mean: 0.0, spread: 0.5 };

    #[test]
    fn what_all_have_in_common_is_no_change() {
        let parts = [0.31, 0.29, 0.30, -0.40].map(|miss| part(miss, PartState::Measured));
        let offset = common(&parts, |_| 0.0, FREE);
        assert!((offset - 0.29).abs() < 0.03, "{offset}");
        let last = |i: usize| if i == 3 { -0.7 } else { 0.0 };
        assert!(log_likelihood(&parts, last, FREE) > log_likelihood(&parts, |_| 0.0, FREE) + 3.0);
    }

    #[test]
    fn a_basin_that_shows_nothing_speaks_for_its_loss_and_a_full_one_for_its_gain() {
        let parts = [part(-1.5, PartState::Below), part(0.1, PartState::Above)];
        let moved = |i: usize| [-2.0, 0.6][i];
        let kept = |_: usize| 0.0;
        let gain = log_likelihood(&parts, moved, FREE) - log_likelihood(&parts, kept, FREE);
        assert!(gain > 3.0, "{gain}");
    }

    #[test]
    fn that_nothing_shows_of_little_water_says_less_than_of_much() {
        let lost = |i: usize| if i == 0 { -3.0 } else { 0.0 };
        let gain = |miss: f32| {
            let parts = [part(miss, PartState::Below), part(0.0, PartState::Measured)];
            log_likelihood(&parts, lost, FREE) - log_likelihood(&parts, |_| 0.0, FREE)
        };
        let (little, much, more) = (gain(-1.4), gain(-2.4), gain(-3.2));
        assert!(little > 1.0 && much > little + 1.5 && (more - much).abs() < 1.0, "{little} {much} {more}");
    }
}
