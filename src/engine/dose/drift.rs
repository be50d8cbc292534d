//! The explanation that nothing is wrong: what sensors show of the same water drifts with seasons, roots and contact.
//!
//! Each basin may show a little more or less than it did. A basin counts as drifted only where that explains more than
//! it costs: its distance from none, on the scale of usual drift, and the freedom to choose it (Laplace's
//! approximation of the evidence, from memory).

use super::recent::Recent;
use crate::model::EventTime;

/// What a sensor shows of its water drifts by this much (logarithm) with no fault, and the log odds that it did, against
/// the causes' own.
const USUAL: f64 = 0.08;
const ODDS: f64 = 2.2;

/// How far each basin drifted (logarithm of its water), and what that costs in log weight.
pub(super) struct Drift {
    pub(super) by: Vec<f64>,
    cost: f64,
}

impl Drift {
    /// Fitted to the episodes since `since`, of which `believed` explains a part; likelihoods count for `temper`.
    pub(super) fn fit(
        recent: &Recent,
        since: EventTime,
        temper: f64,
        believed: impl Fn(usize, f64) -> f64,
    ) -> Self {
        let basins = recent.since(since).next().map_or(0, |past| past.parts.len());
        let mut drift = Self { by: vec![0.0; basins], cost: 0.0 };
        for (i, by) in drift.by.iter_mut().enumerate() {
            let Some(share) = recent.share(i, since) else { continue };
            let explained: f64 = recent.since(since).map(|past| believed(i, past.size)).sum();
            let off = share.value - explained / recent.since(since).count() as f64;
            let (room, variance) = (USUAL * USUAL, share.variance / temper);
            let fitted = off * room / (room + variance);
            let costs = 0.5 * (fitted * fitted / room + (room / variance).ln_1p());
            if 0.5 * off * off / variance > costs {
                *by = fitted;
                drift.cost += costs;
            }
        }
        drift
    }

    /// Log odds of so much drift.
    pub(super) fn prior(&self) -> f64 {
        ODDS - self.cost
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::dose::likelihood::Common;
    use crate::engine::dose::measure::{Measured, Part, PartState};
    use crate::model::Span;

    /// Ten episodes in which the first of three basins shows `off` more than it did.
    fn recent(off: f64) -> Recent {
        let part = |miss: f64| Part {
            log_shown: 0.0,
            miss: miss as f32,
            deviation: 0.1,
            slope: 1.0,
            full: 0.0,
            stood: false,
            state: PartState::Measured,
        };
        let mut recent = Recent::default();
        for n in 0..10 {
            let measured = Measured {
                level: 0.0,
                size: 4.0,
                metered: None,
                rain: false,
                prior: Common { mean: 0.0, spread: 0.5 },
                common: 0.0,
                parts: vec![part(off), part(0.01), part(-0.01)],
            };
            recent.note(EventTime::from_secs(0) + Span::from_hours(n), &measured);
        }
        recent
    }

    fn fit(off: f64) -> Drift {
        Drift::fit(&recent(off), EventTime::MIN, 0.5, |_, _| 0.0)
    }

    #[test]
    fn a_little_is_drift_that_costs_little_and_much_is_not() {
        let (little, much) = (fit(0.06), fit(-0.7));
        assert!((little.by[0] - 0.06).abs() < 0.03 && little.by[1].abs() < 1e-12, "{:?}", little.by);
        assert!(little.prior() > 0.0 && much.prior() < -8.0, "{} {}", little.prior(), much.prior());
    }

    #[test]
    fn what_is_believed_already_is_no_drift() {
        let believed = |i: usize, _| if i == 0 { -0.7 } else { 0.0 };
        let drift = Drift::fit(&recent(-0.7), EventTime::MIN, 0.5, believed);
        assert!(drift.by.iter().all(|by| by.abs() < 1e-12), "{:?}", drift.by);
        let nothing = Drift::fit(&Recent::default(), EventTime::MIN, 0.5, believed);
        assert!(nothing.by.is_empty() && nothing.prior() > 0.0);
    }
}
