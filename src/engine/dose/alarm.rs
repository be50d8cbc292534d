//! Sequential tests, one for each cause that is watched for.
//!
//! Each sums the log likelihood ratio of its cause against what is believed now and starts anew at zero
//! (Page's CUSUM); with the ratio exact, the mean run length without a change is at least e^limit
//! (Lorden 1971), for each cause.

use serde::{Deserialize, Serialize};

use crate::model::EventTime;

/// Sum at which a cause is looked into.
pub(super) const LIMIT: f64 = 6.0;
/// No episode counts for more than this: likelihoods are never exact. One alone can say that nothing comes any more, for
/// that is unlike anything that chance does to a probe.
const MOST: f64 = 11.0;
/// Episodes that it takes at the least to say that all is well again.
const UNTIL_OVER: u16 = 2;
/// Sums above this are a suspicion, of which no habit is learnt.
const SUSPICION: f64 = 6.0;

/// One test.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Test {
    sum: f32,
    /// First episode of the sum.
    onset: EventTime,
}

impl Test {
    /// Takes an episode's log likelihood ratio.
    pub(super) fn note(&mut self, at: EventTime, ratio: f64) {
        if self.sum <= 0.0 {
            self.onset = at;
        }
        self.sum = (self.sum + ratio.clamp(-MOST, MOST) as f32).max(0.0);
    }

    /// The first episode of the change, once the sum has reached `limit`.
    pub(super) fn signal(&self, limit: f64) -> Option<EventTime> {
        (f64::from(self.sum) >= limit).then_some(self.onset)
    }

    /// The first episode of the sum.
    pub(super) fn onset(&self) -> EventTime {
        self.onset
    }

    /// The sum.
    pub(super) fn sum(&self) -> f64 {
        f64::from(self.sum)
    }

    /// Whether there is something to it, perhaps.
    pub(super) fn is_suspicious(&self) -> bool {
        f64::from(self.sum) > SUSPICION
    }
}

/// Evidence that a cause is over.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Relief {
    test: Test,
    /// Episodes of its sum.
    episodes: u16,
}

impl Relief {
    /// Takes an episode's log likelihood ratio of being over.
    pub(super) fn note(&mut self, at: EventTime, ratio: f64) {
        let so_far = if self.test.sum() > 0.0 { self.episodes } else { 0 };
        self.test.note(at, ratio);
        self.episodes = so_far.saturating_add(1);
    }

    /// Whether it is over.
    pub(super) fn is_over(&self) -> bool {
        self.episodes >= UNTIL_OVER && self.test.signal(LIMIT).is_some()
    }
}
