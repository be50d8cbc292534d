//! What the floats that rose in a dose of known litres say of each outlet and of each float.
//!
//! Every float has its [`Threshold`]; a cause moves the litres that come to it. What all floats have in common in one dose
//! is summed out (five points of a normal law), so that a dose that came fast accuses nobody.

use super::threshold::Threshold;
use super::{Says, blocked, is_near, jammed};
use crate::engine::dose::cause::Cause;
use crate::engine::dose::diagnose::sum;
use crate::model::{BasinIx, System};
use crate::stats::bayes::log_sum_exp;

/// What all floats have in common in one dose (logarithm): how fast it came, how wet the ground was.
const COMMON: [f64; 5] = [-0.5, -0.25, 0.0, 0.25, 0.5];
const COMMON_SPREAD: f64 = 0.25;

/// One dose that a meter counted.
pub(super) struct MeteredDose<'a> {
    pub(super) system: &'a System,
    /// Which floats rose; `None` where there is none that is believed, or none that is known yet.
    pub(super) rose: Vec<Option<bool>>,
    /// Which basins soak slowly, whose floats say nothing of others.
    pub(super) slow: &'a [bool],
    pub(super) log_litres: f64,
    pub(super) believed: &'a [Cause],
}

impl MeteredDose<'_> {
    /// What it says of each basin.
    pub(super) fn says(&self, thresholds: &[&Threshold]) -> Vec<Says> {
        let each = |(i, threshold): (usize, &&Threshold)| {
            COMMON.map(|common| self.log_likelihood(i, threshold, common, self.believed))
        };
        let as_believed: Vec<[f64; COMMON.len()]> = thresholds.iter().enumerate().map(each).collect();
        let basins = self.system.basin_ixs().zip(&self.rose);
        let says = basins.map(|(basin, rose)| {
            rose.map_or(Says::default(), |rose| self.says_of(basin, rose, thresholds, &as_believed))
        });
        says.collect()
    }

    fn says_of(
        &self,
        basin: BasinIx,
        rose: bool,
        thresholds: &[&Threshold],
        as_believed: &[[f64; COMMON.len()]],
    ) -> Says {
        let is_near = |other: BasinIx| is_near(self.system, basin, other);
        let speaks = |other: BasinIx| other == basin || !self.slow[other.0 as usize];
        // No cause here moves anything but its own basin's water and that of those beside it.
        let together = |causes: &[Cause], with_near: bool| {
            let of_common: [f64; COMMON.len()] = std::array::from_fn(|k| {
                let asked =
                    self.system.basin_ixs().filter(|other| speaks(*other) && (with_near || !is_near(*other)));
                let of_one = asked.map(|other| {
                    let i = other.0 as usize;
                    if other == basin || is_near(other) {
                        self.log_likelihood(i, thresholds[i], COMMON[k], causes)
                    } else {
                        as_believed[i][k]
                    }
                });
                of_one.sum::<f64>() - 0.5 * (COMMON[k] / COMMON_SPREAD).powi(2)
            });
            log_sum_exp(&of_common)
        };
        let ratio = |cause: Cause, with_near: bool| {
            let others: Vec<Cause> = self.believed.iter().filter(|it| !it.is_same(cause)).copied().collect();
            let with = [&others[..], &[cause]].concat();
            together(&with, with_near) - together(&others, with_near)
        };
        Says {
            blocked: ratio(blocked(basin), true),
            jammed: ratio(jammed(basin), true),
            own: ratio(jammed(basin), false),
            usual: thresholds[basin.0 as usize].rises(self.log_litres),
            rose,
        }
    }

    fn log_likelihood(&self, i: usize, threshold: &Threshold, common: f64, causes: &[Cause]) -> f64 {
        let Some(rose) = self.rose[i] else { return 0.0 };
        let rises = threshold.rises(self.log_litres + common + sum(self.system, causes, i, 1.0));
        if rose { rises.ln() } else { (1.0 - rises).ln() }
    }
}
