//! The last doses, for telling what changed.

use std::collections::VecDeque;

use serde::{Deserialize, Serialize};

use super::measure::{Measured, Part, PartState};
use crate::model::EventTime;

/// Doses remembered.
const DOSES: usize = 32;

/// The last doses of a system.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Recent {
    doses: VecDeque<Past>,
}

/// One past dose.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Past {
    pub(super) at: EventTime,
    pub(super) log_size: f32,
    /// By basin: logarithm of share over habit; `NaN` where unknown.
    log_shares: Vec<f32>,
    /// Basins, as bits, whose number is only an upper bound.
    below: u64,
}

/// Mean and spread of what one basin received of late.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Lately {
    pub(super) mean: f64,
    /// Variance of the mean.
    pub(super) variance: f64,
    pub(super) doses: u32,
    /// Part of the doses of which nothing was resolved.
    pub(super) below: f64,
}

impl Recent {
    /// Remembers a dose.
    pub(super) fn note(&mut self, at: EventTime, dose: &Measured) {
        let mut past = if self.doses.len() == DOSES { self.doses.pop_front() } else { None }
            .unwrap_or_else(|| Past { at, log_size: 0.0, log_shares: Vec::new(), below: 0 });
        past.at = at;
        past.log_size = dose.log_size as f32;
        past.log_shares.clear();
        past.below = 0;
        for (i, part) in dose.parts.iter().enumerate() {
            past.log_shares.push(number(part));
            if part.state == PartState::Below && i < 64 {
                past.below |= 1 << i;
            }
        }
        self.doses.push_back(past);
    }

    /// What basin `i` received since `since`; none if nothing is known.
    pub(super) fn lately(&self, i: usize, since: EventTime) -> Option<Lately> {
        let known = || self.since(since).filter_map(move |past| past.share(i).map(|share| (past, share)));
        let doses = known().count();
        if doses == 0 {
            return None;
        }
        let n = doses as f64;
        let mean = known().map(|(_, share)| share).sum::<f64>() / n;
        let square = known().map(|(_, share)| (share - mean).powi(2)).sum::<f64>() / (n - 1.0).max(1.0);
        let below = known().filter(|(past, _)| i < 64 && past.below >> i & 1 == 1).count() as f64 / n;
        Some(Lately { mean, variance: square / n, doses: doses as u32, below })
    }

    /// Doses since `since`, oldest first.
    pub(super) fn since(&self, since: EventTime) -> impl Iterator<Item = &Past> {
        self.doses.iter().filter(move |past| past.at >= since)
    }

    /// The last `count` doses began at or after this time.
    pub(super) fn last(&self, count: usize) -> EventTime {
        self.doses.iter().rev().nth(count - 1).map_or(EventTime::MIN, |past| past.at)
    }

    /// Doses remembered.
    pub(super) fn len(&self) -> usize {
        self.doses.len()
    }
}

impl Past {
    /// Logarithm of what basin `i` received over its habit.
    pub(super) fn share(&self, i: usize) -> Option<f64> {
        self.log_shares.get(i).map(|&share| f64::from(share)).filter(|share| share.is_finite())
    }
}

fn number(part: &Part) -> f32 {
    match part.state {
        PartState::Measured | PartState::Below => part.log_share as f32,
        PartState::Above | PartState::Unknown => f32::NAN,
    }
}
