//! From how many litres on a float rises.
//!
//! A float rises in every dose large enough, give or take: Φ((ln litres − m)/s). Which middle m and which spread s its
//! basin has is learnt as weights on a grid (Bayes), so that what was never seen stays open.

use serde::{Deserialize, Serialize};

use crate::stats::normal;

/// Middles: from 5 L, each a quarter more than the one before.
const MIDDLES: usize = 26;
const FROM: f64 = 1.6;
const STEP: f64 = 0.22;
/// Spreads (logarithms): how doses of as many litres differ in how fast they come, and in what they find.
const SPREADS: [f64; 3] = [0.15, 0.35, 0.7];
const GRID: usize = MIDDLES * SPREADS.len();
/// A float rises, or stays down, in this part of doses whatever their litres: a neighbour's water, a leaf in its way.
const ANYWAY: f64 = 0.02;
/// Doses by which a float is known, and how many are remembered: seasons and mulch move it.
const KNOWN: u16 = 20;
const MEMORY: f64 = 150.0;

/// What is known of one float.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Threshold {
    /// Logarithms, by spread within middle; none before the first dose, when all weigh the same.
    log_weights: Vec<f32>,
    doses: u16,
}

impl Threshold {
    /// Whether enough doses were seen.
    pub(super) fn is_known(&self) -> bool {
        self.doses >= KNOWN
    }

    /// Probability that it rises in a dose of litres with this logarithm.
    pub(super) fn rises(&self, log_litres: f64) -> f64 {
        let (mut sum, mut total) = (0.0, 0.0);
        for i in 0..GRID {
            let weight = self.log_weights.get(i).map_or(1.0, |log_weight| f64::from(*log_weight).exp());
            sum += weight * rises_at(i, log_litres);
            total += weight;
        }
        sum / total
    }

    /// Learns whether it rose in a dose.
    pub(super) fn learn(&mut self, log_litres: f64, rose: bool) {
        self.log_weights.resize(GRID, 0.0);
        for (i, log_weight) in self.log_weights.iter_mut().enumerate() {
            let rises = rises_at(i, log_litres);
            let likelihood = if rose { rises } else { 1.0 - rises };
            *log_weight = (f64::from(*log_weight) * (1.0 - 1.0 / MEMORY) + likelihood.ln()) as f32;
        }
        let most = self.log_weights.iter().copied().fold(f32::NEG_INFINITY, f32::max);
        self.log_weights.iter_mut().for_each(|log_weight| *log_weight -= most);
        self.doses = self.doses.saturating_add(1);
    }
}

fn rises_at(i: usize, log_litres: f64) -> f64 {
    let (middle, spread) = (FROM + STEP * (i / SPREADS.len()) as f64, SPREADS[i % SPREADS.len()]);
    ANYWAY + (1.0 - 2.0 * ANYWAY) * normal::cumulative((log_litres - middle) / spread)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Doses of 20 to 300 L in an order without rhythm.
    fn log_litres(n: u32) -> f64 {
        3.0 + 2.7 * f64::from(n * 7919 % 101) / 101.0
    }

    #[test]
    fn the_litres_from_which_on_a_float_rises_are_learnt() {
        let mut threshold = Threshold::default();
        assert!(!threshold.is_known() && (threshold.rises(4.5) - 0.5).abs() < 0.2);
        for n in 0..100 {
            threshold.learn(log_litres(n), log_litres(n) > 4.6);
        }
        assert!(threshold.is_known());
        let [small, middle, large] = [4.0, 4.6, 5.2].map(|log_litres| threshold.rises(log_litres));
        assert!(small < 0.06 && (0.25..0.75).contains(&middle) && large > 0.94, "{small} {middle} {large}");
    }

    #[test]
    fn what_was_never_seen_stays_open_and_what_was_long_ago_fades() {
        let mut threshold = Threshold::default();
        (0..100).for_each(|n| threshold.learn(log_litres(n), false));
        let (seen, beyond) = (threshold.rises(5.0), threshold.rises(6.2));
        assert!(seen < 0.05 && (0.1..0.7).contains(&beyond), "{seen} {beyond}");
        (0..600).for_each(|n| threshold.learn(log_litres(n), log_litres(n) > 4.0));
        assert!(threshold.rises(4.5) > 0.85, "{}", threshold.rises(4.5));
    }
}
