//! The balance of each splitter, watched for change.
//!
//! x = ln(what side a received / what side b received) − ln(design) − habit, with sums over the basins
//! of a side, so that a fault at one splitter moves one balance (amalgamated log ratio; Egozcue &
//! Pawlowsky-Glahn 2005 use geometric means, which spread the blame upwards).

use serde::{Deserialize, Serialize};

use super::measure::{Measured, PartState};
use crate::model::{BasinIx, EventTime, SplitterIx, System};
use crate::stats::cusum::{Cusum, Design, Signal};
use crate::stats::robust::{LocationScale, huber_psi};

/// Doses that the spread of a balance remembers.
const MEMORY: f64 = 80.0;
/// Least spread (logarithm): splitters are not watched for changes that nobody would mend.
const LEAST_SPREAD: f64 = 0.30;
/// Doses of a side before its balance is watched.
const KNOWN: u32 = 12;
/// One dose counts for no more deviations than this.
const BOUND: f64 = 4.0;
/// Reference and limit of the change test, in deviations. For normal residuals the mean run length without a
/// change is above a million doses (Siegmund's approximation); most residuals have longer tails, and the
/// spread is floored.
const REFERENCE: f64 = 0.9;
const LIMIT: f64 = 9.0;

/// One splitter's balance.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Balance {
    usual: LocationScale,
    test: Cusum,
}

impl Default for Balance {
    fn default() -> Self {
        let design = Design { reference: REFERENCE, limit: LIMIT, head_start: 0.0 };
        Self { usual: LocationScale::new(MEMORY, 0.02), test: Cusum::new(design) }
    }
}

impl Balance {
    /// Takes the balance of a dose. While `learning`, it only teaches what is usual.
    pub(super) fn note(&mut self, at: EventTime, balance: f64, learning: bool) -> Option<Signal> {
        let calm = self.test.sums();
        let is_calm = calm.0.max(calm.1) < 1.5;
        if learning || self.usual.count() < KNOWN {
            self.usual.observe(balance);
            return None;
        }
        let residual = huber_psi(balance / self.spread(), BOUND);
        let signal = self.test.observe(at.millis() as f64, residual);
        // The spread goes on being learnt in quiet times, the level never: that would hide a slow drift.
        if is_calm && residual.abs() < 2.5 {
            self.usual.observe(balance);
        }
        signal
    }

    /// Spread of single doses' balances.
    pub(super) fn spread(&self) -> f64 {
        self.usual.scale().unwrap_or(LEAST_SPREAD).max(LEAST_SPREAD)
    }

    /// Begins the test anew.
    pub(super) fn reset(&mut self) {
        self.test.reset();
    }
}

/// The balance of a dose at a splitter; none if a side is unknown or both are below what shows.
pub(super) fn balance_of(system: &System, splitter: SplitterIx, dose: &Measured) -> Option<f64> {
    let mut sides = [Side::default(); 2];
    for (i, part) in dose.parts.iter().enumerate() {
        let basin = BasinIx(i as u16);
        let Some(side) = system.tree().side_of(splitter, basin) else { continue };
        let side = &mut sides[side];
        match part.state {
            PartState::Unknown => {}
            // A bound does not measure: the whole balance is unknown.
            PartState::Above => return None,
            PartState::Measured | PartState::Below => {
                let design = system.tree().design_share(basin);
                side.design += design;
                side.received += design * part.log_share.exp();
                side.measured |= part.state == PartState::Measured;
            }
        }
    }
    let [a, b] = sides;
    let known = a.design > 0.0 && b.design > 0.0 && (a.measured || b.measured);
    known.then(|| (a.received / a.design).ln() - (b.received / b.design).ln())
}

#[derive(Clone, Copy, Default)]
struct Side {
    design: f64,
    received: f64,
    measured: bool,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_step_is_found_in_a_few_doses_and_quiet_noise_never() {
        let noise = |i: i64| 0.2 * f64::from(((i * 7919) % 13) as i32 - 6) / 4.0;
        let mut balance = Balance::default();
        let at = |i: i64| EventTime::from_secs(i * 20_000);
        for i in 0..3000 {
            assert_eq!(balance.note(at(i), noise(i), i < 40), None, "dose {i}");
        }
        let found = (3000..3030).find(|&i| balance.note(at(i), 0.85 + noise(i), false).is_some());
        assert!(found.is_some_and(|i| i <= 3006), "{found:?}");
    }
}
