//! What a stretch of messages came to.

use crate::engine::{Effect, Input};
use crate::intake::Decoded;
use crate::model::EventTime;

/// What a stretch of messages came to; its buffers are kept from one stretch to the next.
///
/// Systems are told by their place in the fleet.
#[derive(Debug, Default)]
pub struct Gathered {
    /// Messages taken.
    pub messages: u64,
    /// Readings, refusals and unassigned topics, in order of arrival.
    pub decoded: Decoded,
    /// Every input that may have changed an engine, with its time of arrival, in order.
    pub inputs: Vec<(usize, EventTime, Input)>,
    /// What the engines concluded, in order.
    pub effects: Vec<(usize, Effect)>,
    /// Effects of the input at hand.
    pub(super) fresh: Vec<Effect>,
}

impl Gathered {
    /// Forgets everything but the buffers' room.
    pub fn clear(&mut self) {
        self.messages = 0;
        self.decoded.clear();
        self.inputs.clear();
        self.effects.clear();
    }

    /// Whether there is nothing to store.
    pub fn is_empty(&self) -> bool {
        self.messages == 0 && self.inputs.is_empty() && self.effects.is_empty()
    }

    pub(super) fn collect_fresh(&mut self, system: usize) {
        self.effects.extend(self.fresh.drain(..).map(|effect| (system, effect)));
    }
}
