//! What each outlet passes when all is as ever, where somebody has caught it in buckets.
//!
//! Without buckets the first weeks count as in tune: whatever a probe shows then stands for the designed share. Water
//! that was caught says what the shares were that day, and with them what the probe's usual showing stands for.

use serde::{Deserialize, Serialize};

use crate::model::{BasinIx, SplitterIx, System};

/// An outlet that passed less than this part of what it should is no scale for its probe.
const LEAST: f64 = 0.05;

/// By basin, the logarithm of the share that stands for its probe's usual showing, against the design.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Gains {
    log: Vec<f64>,
}

impl Gains {
    pub(super) fn new(basins: usize) -> Self {
        Self { log: vec![0.0; basins] }
    }

    /// `litres` were caught below outlets whose shares went by `change` (logarithm, against the usual) by then. What
    /// was not caught is left as it was.
    pub(super) fn caught(
        &mut self,
        system: &System,
        litres: &[(BasinIx, f64)],
        change: impl Fn(usize) -> f64,
    ) {
        let total: f64 = litres.iter().map(|(_, litres)| litres).sum();
        let design: f64 = litres.iter().map(|&(basin, _)| system.tree().design_share(basin)).sum();
        for &(basin, caught) in litres {
            let part = caught / total / (system.tree().design_share(basin) / design);
            if part.is_finite() && part >= LEAST {
                let i = basin.0 as usize;
                self.log[i] = part.ln() - change(i);
            }
        }
    }

    /// The pipes are as designed again for these basins, as far as anybody knows.
    pub(super) fn forget(&mut self, basins: impl Iterator<Item = BasinIx>) {
        basins.for_each(|basin| self.log[basin.0 as usize] = 0.0);
    }

    /// The part of a dose that a basin usually receives; sums to 1 only over basins of which all were caught.
    pub(super) fn share(&self, system: &System, basin: BasinIx) -> f64 {
        system.tree().design_share(basin) * self.log[basin.0 as usize].exp()
    }

    /// The part that usually goes to side a of a splitter.
    pub(super) fn split(&self, system: &System, splitter: SplitterIx) -> f64 {
        let mut sides = [0.0; 2];
        for basin in system.basin_ixs() {
            if let Some(side) = system.tree().side_of(splitter, basin) {
                sides[side] += self.share(system, basin);
            }
        }
        sides[0] / (sides[0] + sides[1])
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::stories::yard;

    #[test]
    fn without_buckets_everything_is_as_designed() {
        let system = yard();
        let gains = Gains::new(system.basins.len());
        for basin in system.basin_ixs() {
            assert!((gains.share(&system, basin) - system.tree().design_share(basin)).abs() < 1e-12);
        }
        let splitter = SplitterIx(0);
        assert!((gains.split(&system, splitter) - system.splitter(splitter).split[0]).abs() < 1e-12);
    }

    #[test]
    fn buckets_say_what_the_usual_showing_stands_for() {
        let system = yard();
        let mut gains = Gains::new(system.basins.len());
        let caught: Vec<(BasinIx, f64)> =
            system.basin_ixs().map(|basin| (basin, 10.0 + f64::from(basin.0))).collect();
        let total: f64 = caught.iter().map(|(_, litres)| litres).sum();
        // The first basin shows a fifth less than it used to.
        gains.caught(&system, &caught, |i| if i == 0 { 0.8_f64.ln() } else { 0.0 });
        assert!((0.8 * gains.share(&system, BasinIx(0)) - caught[0].1 / total).abs() < 1e-12);
        assert!((gains.share(&system, BasinIx(1)) - caught[1].1 / total).abs() < 1e-12);
        gains.forget(system.basin_ixs());
        assert_eq!(gains, Gains::new(system.basins.len()));
    }

    #[test]
    fn a_dry_bucket_and_no_bucket_teach_nothing() {
        let system = yard();
        let mut gains = Gains::new(system.basins.len());
        gains.caught(&system, &[(BasinIx(0), 0.0), (BasinIx(1), 0.0)], |_| 0.0);
        gains.caught(&system, &[], |_| 0.0);
        assert_eq!(gains, Gains::new(system.basins.len()));
    }
}
