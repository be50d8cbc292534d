//! What one round of messages brought, to be committed together.

use std::collections::{BTreeMap, VecDeque};
use std::fmt;

use crate::engine::{Effect, Input};
use crate::model::{EventTime, RecordKey};

use super::legible::legible;
use super::{Order, ServiceDeed, SystemNo};

/// Refused samples kept, in a batch and in the ledger.
pub(super) const REFUSAL_SAMPLES: usize = 200;
/// Unassigned topics kept, in a batch and in the ledger.
pub(super) const UNASSIGNED_TOPICS: usize = 500;
/// Longest stored topic, sample or detail, bytes.
const EXCERPT_BYTES: usize = 256;

/// Inputs, conclusions and positions that belong into one transaction. Reuse it: its buffers stay.
#[derive(Debug, Default)]
pub struct Batch {
    messages: u64,
    received: Option<EventTime>,
    pub(super) inputs: Vec<JournalEntry>,
    /// Beginnings of payloads, one after the other.
    payloads: Vec<u8>,
    /// Of each of them: inputs up to and with its own, and where it ends.
    carried: Vec<(usize, usize)>,
    pub(super) effects: Vec<(SystemNo, Effect)>,
    pub(super) snapshots: Vec<(SystemNo, Vec<u8>)>,
    pub(super) refused: BTreeMap<&'static str, u64>,
    pub(super) refusal_samples: VecDeque<Refused>,
    pub(super) unassigned: u64,
    pub(super) topics: BTreeMap<String, Heard>,
    pub(super) cursors: Vec<(String, Position)>,
    pub(super) orders: Vec<Order>,
}

/// Length of a payload's beginning that is kept, bytes.
const PAYLOAD_BYTES: usize = 160;

/// One input of one engine.
#[derive(Clone, Debug, PartialEq)]
pub struct JournalEntry {
    /// Whose engine.
    pub system: SystemNo,
    /// When it arrived.
    pub received: EventTime,
    /// What arrived.
    pub input: Input,
}

/// How far a reader outside has come. What it reached it never reads again.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Position {
    /// Readings of every commit up to this one.
    Readings(u64),
    /// Effects up to this one.
    Effects(u64),
    /// Steps of alerts up to this one.
    AlertSteps(u64),
}

/// One refused record.
#[derive(Debug)]
pub(super) struct Refused {
    pub(super) at: EventTime,
    pub(super) reason: &'static str,
    pub(super) topic: String,
    pub(super) sample: String,
    pub(super) detail: String,
}

/// What came on one topic that no system claims.
#[derive(Debug)]
pub(super) struct Heard {
    pub(super) first_at: EventTime,
    pub(super) last_at: EventTime,
    pub(super) count: u64,
    pub(super) sample: String,
}

impl Batch {
    /// Counts a message that arrived at `received`, whatever came of it.
    pub fn count_message(&mut self, received: EventTime) {
        self.messages += 1;
        self.received = self.received.max(Some(received));
    }

    /// Adds what an engine took in. Readings go into the history as well as the journal.
    pub fn take_in(&mut self, system: SystemNo, received: EventTime, input: Input) {
        self.inputs.push(JournalEntry { system, received, input });
    }

    /// Adds that every engine was told the time, if only so that it knows it after a restart.
    pub fn tell_all(&mut self, at: EventTime) {
        let told = JournalEntry { system: SystemNo::EVERY, received: at, input: Input::Tick };
        // A batch that cannot be stored yet is completed again and again.
        if self.inputs.last() != Some(&told) {
            self.inputs.push(told);
        }
    }

    /// Keeps the beginning of the payload that brought the inputs taken in since the last one.
    pub fn carried_by(&mut self, payload: &[u8]) {
        let before = self.carried.last().map_or(0, |(inputs, _)| *inputs);
        if self.inputs.len() > before {
            self.payloads.extend_from_slice(&payload[..payload.len().min(PAYLOAD_BYTES)]);
            self.carried.push((self.inputs.len(), self.payloads.len()));
        }
    }

    /// The beginning of the payload that brought input number `place`, where it was kept.
    pub(super) fn payload_of(&self, place: usize) -> Option<&[u8]> {
        let at = self.carried.partition_point(|(inputs, _)| *inputs <= place);
        let (_, end) = *self.carried.get(at)?;
        let start = at.checked_sub(1).map_or(0, |before| self.carried[before].1);
        Some(&self.payloads[start..end])
    }

    /// Adds what an engine concluded, in order.
    pub fn conclude(&mut self, system: SystemNo, effect: Effect) {
        self.effects.push((system, effect));
    }

    /// Adds an engine's state after every input of this batch.
    pub fn save(&mut self, system: SystemNo, state: Vec<u8>) {
        self.snapshots.push((system, state));
    }

    /// Counts a refused record, and keeps the newest ones as samples.
    pub fn refuse(
        &mut self,
        reason: &'static str,
        topic: &str,
        sample: &[u8],
        detail: &dyn fmt::Display,
        at: EventTime,
    ) {
        *self.refused.entry(reason).or_default() += 1;
        if self.refusal_samples.len() == REFUSAL_SAMPLES {
            self.refusal_samples.pop_front();
        }
        self.refusal_samples.push_back(Refused {
            at,
            reason,
            topic: clip(topic).to_owned(),
            sample: excerpt(sample),
            detail: clip(&detail.to_string()).to_owned(),
        });
    }

    /// Remembers a message on a topic that no system claims.
    pub fn hear_unassigned(&mut self, topic: &str, sample: &[u8], at: EventTime) {
        self.unassigned += 1;
        let topic = clip(topic);
        if let Some(heard) = self.topics.get_mut(topic) {
            heard.last_at = heard.last_at.max(at);
            heard.count += 1;
            heard.sample = excerpt(sample);
        } else if self.topics.len() < UNASSIGNED_TOPICS {
            let heard = Heard { first_at: at, last_at: at, count: 1, sample: excerpt(sample) };
            self.topics.insert(topic.to_owned(), heard);
        }
    }

    /// Says that the reader `cursor` has come to `position`; a lower one than before changes nothing.
    pub fn reach(&mut self, cursor: &str, position: Position) {
        self.cursors.push((cursor.to_owned(), position));
    }

    /// Adds what somebody asks for; the commit answers in the same order.
    pub fn order(&mut self, order: Order) {
        self.orders.push(order);
    }

    /// Whether somebody asks for something with this service record, other than for a photograph of it.
    pub fn has_service(&self, key: &RecordKey) -> bool {
        self.orders.iter().any(|order| {
            matches!(order, Order::Service(known) if known.key == *key
                && !matches!(known.deed, ServiceDeed::Photo(_)))
        })
    }

    /// Messages counted.
    pub fn messages(&self) -> u64 {
        self.messages
    }

    /// When the newest message arrived.
    pub fn received(&self) -> Option<EventTime> {
        self.received
    }

    /// Whether some engine took something in, or is saved.
    pub fn concerns_engines(&self) -> bool {
        !self.inputs.is_empty() || !self.snapshots.is_empty()
    }

    /// Whether there is nothing to commit.
    pub fn is_empty(&self) -> bool {
        self.messages == 0
            && self.unassigned == 0
            && self.refused.is_empty()
            && self.inputs.is_empty()
            && self.effects.is_empty()
            && self.snapshots.is_empty()
            && self.cursors.is_empty()
            && self.orders.is_empty()
    }

    /// Empties it for the next round.
    pub fn clear(&mut self) {
        self.messages = 0;
        self.received = None;
        self.unassigned = 0;
        self.inputs.clear();
        self.payloads.clear();
        self.carried.clear();
        self.effects.clear();
        self.snapshots.clear();
        self.refused.clear();
        self.refusal_samples.clear();
        self.topics.clear();
        self.cursors.clear();
        self.orders.clear();
    }
}

/// The beginning of `text`, whole characters only.
fn clip(text: &str) -> &str {
    &text[..text.floor_char_boundary(EXCERPT_BYTES)]
}

/// The beginning of `bytes` for people.
fn excerpt(bytes: &[u8]) -> String {
    legible(&bytes[..bytes.len().min(EXCERPT_BYTES)]).into_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_batch_of_nothing_but_noise_stays_bounded() {
        let mut batch = Batch::default();
        for i in 0..2000 {
            batch.refuse("not-a-number", "greywater/x", &[0xff; 900], &"NaN", EventTime::from_secs(i));
            batch.hear_unassigned(&format!("greywater/t{i}"), b"1", EventTime::from_secs(i));
        }
        assert_eq!(batch.refused["not-a-number"], 2000);
        assert_eq!(batch.refusal_samples.len(), REFUSAL_SAMPLES);
        assert_eq!(batch.refusal_samples[0].at, EventTime::from_secs(1800));
        assert_eq!((batch.unassigned, batch.topics.len()), (2000, UNASSIGNED_TOPICS));
    }

    #[test]
    fn a_long_topic_is_clipped_to_whole_characters_and_still_counted_as_one() {
        let mut batch = Batch::default();
        let topic = "é".repeat(300);
        batch.hear_unassigned(&topic, &[0xff, 0x31], EventTime::from_secs(1));
        batch.hear_unassigned(&topic, b"wet", EventTime::from_secs(2));
        let (kept, heard) = batch.topics.first_key_value().unwrap();
        assert_eq!((kept.as_str(), heard.count, heard.sample.as_str()), ("é".repeat(128).as_str(), 2, "wet"));
    }
}
