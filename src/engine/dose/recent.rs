//! The last episodes, for telling what changed.

use std::collections::VecDeque;

use serde::{Deserialize, Serialize};

use super::likelihood::{self, Common};
use super::measure::{Measured, Part, PartState};
use crate::model::EventTime;
use crate::stats::interval::Estimate;
use crate::stats::robust::LocationScale;

/// Episodes remembered.
const EPISODES: usize = 40;

/// The last episodes of a system that count for shares.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Recent {
    episodes: VecDeque<Past>,
    /// Logarithm of usual sizes.
    sizes: LocationScale,
}

/// One past episode.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Past {
    pub(super) at: EventTime,
    /// Size against the usual.
    pub(super) size: f64,
    /// What was known of the common part beforehand.
    pub(super) prior: Common,
    /// By basin.
    pub(super) parts: Vec<Part>,
    /// Logarithm of each basin's water over its habit, the common part taken out; `NaN` where unknown.
    log_shares: Vec<f32>,
}

impl Past {
    /// Log likelihood of what was shown, if basin `i`'s log water had changed by `change(i)`, up to a constant.
    pub(super) fn log_likelihood(&self, change: impl Fn(usize) -> f64) -> f64 {
        likelihood::log_likelihood(&self.parts, change, self.prior)
    }
}

impl Default for Recent {
    fn default() -> Self {
        Self { episodes: VecDeque::new(), sizes: LocationScale::new(60.0, 0.1) }
    }
}

impl Recent {
    /// Size of an episode against the usual.
    pub(super) fn size(&self, log_size: f64) -> f64 {
        self.sizes.location().map_or(1.0, |usual| (log_size - usual).exp())
    }

    /// Remembers an episode.
    pub(super) fn note(&mut self, at: EventTime, measured: &Measured) -> &Past {
        let size = self.size(measured.size);
        self.sizes.observe(measured.size);
        let mut past =
            if self.episodes.len() == EPISODES { self.episodes.pop_front() } else { None }.unwrap_or_else(
                || Past { at, size, prior: measured.prior, parts: Vec::new(), log_shares: Vec::new() },
            );
        (past.at, past.size, past.prior) = (at, size, measured.prior);
        past.parts.clone_from(&measured.parts);
        past.log_shares.clear();
        past.log_shares.extend(measured.parts.iter().map(|part| part.log_share(measured.common) as f32));
        self.episodes.push_back(past);
        &self.episodes[self.episodes.len() - 1]
    }

    /// What basin `i` showed since `since` says nothing.
    pub(super) fn forget(&mut self, i: usize, since: EventTime) {
        for past in self.episodes.iter_mut().filter(|past| past.at >= since) {
            past.parts[i].state = PartState::Unknown;
        }
    }

    /// Whether an episode that began at `began` is remembered.
    pub(super) fn has(&self, began: EventTime) -> bool {
        self.episodes.iter().any(|past| past.at == began)
    }

    /// Whether everything since `since` is remembered.
    pub(super) fn reaches(&self, since: EventTime) -> bool {
        self.episodes.len() < EPISODES || self.episodes.front().is_some_and(|past| past.at <= since)
    }

    /// Episodes since `since`, oldest first.
    pub(super) fn since(&self, since: EventTime) -> impl Iterator<Item = &Past> {
        self.episodes.iter().filter(move |past| past.at >= since)
    }

    /// Weighted mean of the logarithm of basin `i`'s share over its habit since `since`; none if nothing is known.
    pub(super) fn share(&self, i: usize, since: EventTime) -> Option<Estimate> {
        let (mut weight, mut sum) = (0.0, 0.0);
        for past in self.since(since) {
            let (part, share) = (&past.parts[i], f64::from(past.log_shares[i]));
            if share.is_finite() && part.state != PartState::Unknown {
                let w = (f64::from(part.deviation) / part.local_slope().max(0.05)).powi(-2);
                weight += w;
                sum += w * share;
            }
        }
        (weight > 0.0).then(|| Estimate { value: sum / weight, variance: 1.0 / weight })
    }
}
