//! Which explanation fits what changed best, and how probable each one is.

use super::cause::Cause;
use super::measure::PartState;
use super::recent::Recent;
use crate::model::{EventTime, Quantity, System};
use crate::stats::bayes::{log_sum_exp, normalise};

/// Explanations less probable than this are not told.
const LEAST_PROBABILITY: f64 = 0.02;
/// Likelihoods are tempered: episodes of one week err alike, so that they say less than if they did not.
const TEMPER: f64 = 0.5;
/// Episodes in a row through which a float must stay down that used to rise.
const DOWN_FOR: usize = 5;
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
/// Where only floats tell, few can be told.
pub(super) fn explain(
    system: &System,
    recent: &Recent,
    since: EventTime,
    believed: &[Cause],
) -> Vec<Explanation> {
    let by_floats = has_floats_alone(system);
    let mut kinds: Vec<Cause> = Vec::new();
    for cause in Cause::coarse(system).filter(|cause| !by_floats || floats_show(*cause, recent, since)) {
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

/// Whether no probe tells of water.
pub(super) fn has_floats_alone(system: &System) -> bool {
    system.sensors.iter().all(|sensor| sensor.quantity != Quantity::Moisture)
}

/// Whether floats alone can show that this is the cause: how long they are up says too little of how much water came
/// to tell a split by, but an outlet that brings nothing leaves its float down whenever it used to rise.
fn floats_show(cause: Cause, recent: &Recent, since: EventTime) -> bool {
    let Cause::Blocked { basin, .. } = cause else { return false };
    let told = || recent.since(since).map(|past| past.parts[basin.0 as usize].state);
    let known = || told().filter(|state| *state != PartState::Unknown);
    known().count() >= DOWN_FOR && known().all(|state| state == PartState::Below)
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
