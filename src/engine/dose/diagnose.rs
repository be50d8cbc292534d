//! Which explanation fits what changed best, and how probable each one is.

use super::cause::Cause;
use super::recent::Recent;
use crate::model::{EventTime, System};
use crate::stats::bayes::{log_sum_exp, normalise};

/// Explanations less probable than this are not told.
const LEAST_PROBABILITY: f64 = 0.02;
/// Likelihoods are tempered: episodes of one week err alike, so that they say less than if they did not.
const TEMPER: f64 = 0.5;
/// One episode counts for no more than this.
const MOST: f64 = 6.0;

/// An explanation with its probability.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Explanation {
    /// In the size that fits best.
    pub(super) cause: Cause,
    pub(super) probability: f64,
}

/// Ranks the explanations of what changed since `since`, most probable first, each beside what is believed already.
pub(super) fn explain(
    system: &System,
    recent: &Recent,
    since: EventTime,
    believed: &[Cause],
) -> Vec<Explanation> {
    let mut kinds: Vec<Cause> = Vec::new();
    for cause in Cause::coarse(system) {
        if !kinds.iter().any(|known| known.is_same(cause)) {
            kinds.push(cause);
        }
    }
    let as_ever: Vec<f64> = recent
        .since(since)
        .map(|past| past.log_likelihood(|i| sum(system, believed, i, past.size)))
        .collect();
    let mut fits = Vec::with_capacity(kinds.len());
    for kind in kinds {
        let sizes = kind.sizes();
        let weights: Vec<f64> = sizes
            .iter()
            .map(|cause| {
                let ratios = recent.since(since).zip(&as_ever).map(|(past, as_ever)| {
                    let change = |i| sum(system, believed, i, past.size) + cause.change(system, i, past.size);
                    (past.log_likelihood(change) - as_ever).clamp(-MOST, MOST)
                });
                TEMPER * ratios.sum::<f64>() + cause.prior()
            })
            .collect();
        let best = (0..sizes.len()).max_by(|&a, &b| weights[a].total_cmp(&weights[b]));
        if let Some(best) = best {
            fits.push((log_sum_exp(&weights) - (sizes.len() as f64).ln(), sizes[best]));
        }
    }
    rank(fits)
}

/// Change of basin `i` by all of `causes` together.
pub(super) fn sum(system: &System, causes: &[Cause], i: usize, size: f64) -> f64 {
    causes.iter().map(|cause| cause.change(system, i, size)).sum()
}

fn rank(mut fits: Vec<(f64, Cause)>) -> Vec<Explanation> {
    let mut weights: Vec<f64> = fits.iter().map(|(weight, _)| *weight).collect();
    normalise(&mut weights);
    for (fit, probability) in fits.iter_mut().zip(weights) {
        fit.0 = probability;
    }
    fits.sort_by(|a, b| b.0.total_cmp(&a.0));
    let told = fits.into_iter().filter(|(probability, _)| *probability >= LEAST_PROBABILITY);
    told.map(|(probability, cause)| Explanation { cause, probability }).collect()
}
