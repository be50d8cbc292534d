//! What decoding gives.

use super::Refusal;
use crate::model::Reading;

/// Longest sample of a payload that is kept, bytes.
const SAMPLE: usize = 256;

/// What messages decoded to. The buffers are kept from one stretch of messages to the next.
#[derive(Debug, Default)]
pub struct Decoded {
    /// Readings, each with the place of its system in the router's list.
    pub readings: Vec<(usize, Reading)>,
    /// Records refused.
    pub refusals: Vec<Refused>,
    /// Messages on topics that no sensor claims.
    pub unassigned: Vec<Heard>,
}

/// A refused record.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Refused {
    /// Why.
    pub reason: Refusal,
    /// Topic it came on.
    pub topic: String,
    /// The beginning of the payload.
    pub sample: Vec<u8>,
    /// What exactly was wrong.
    pub detail: String,
}

/// A message that no sensor claims.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Heard {
    /// Topic it came on, with the record's name if the topic stopped early.
    pub topic: String,
    /// The beginning of the payload.
    pub sample: Vec<u8>,
}

impl Decoded {
    /// Forgets everything but the buffers' room.
    pub fn clear(&mut self) {
        self.readings.clear();
        self.refusals.clear();
        self.unassigned.clear();
    }

    /// Adds a refused record of a message.
    pub(crate) fn refuse(&mut self, topic: &str, payload: &[u8], refused: Fault) {
        let (reason, detail) = refused;
        let sample = payload[..payload.len().min(SAMPLE)].to_vec();
        self.refusals.push(Refused { reason, topic: topic.to_owned(), sample, detail });
    }

    pub(super) fn hear(&mut self, topic: String, payload: &[u8]) {
        let sample = payload[..payload.len().min(SAMPLE)].to_vec();
        self.unassigned.push(Heard { topic, sample });
    }
}

/// A reason with its details.
pub(crate) type Fault = (Refusal, String);
