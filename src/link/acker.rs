//! Acknowledges stored messages, on the connection they came by and on no other.
//!
//! Packet ids start afresh on every connection. An acknowledgement that slipped onto the next one
//! would tell the broker to forget a message nobody has stored, so a generation number is compared
//! under the same lock that the connection takes to change it.

use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use super::health::{Counters, count};
use super::message::{Message, Receipt};
use super::wire::Client;

/// Acknowledges messages after the writer has stored them. Cheap to clone.
#[derive(Clone)]
pub struct Acker {
    gate: Option<Arc<Gate>>,
    counters: Arc<Counters>,
}

/// Lets acknowledgements through to the connection that is open now.
pub(super) struct Gate {
    generation: Mutex<u32>,
    client: Client,
}

impl Gate {
    pub(super) fn new(client: Client) -> Self {
        Self { generation: Mutex::new(0), client }
    }

    pub(super) fn generation(&self) -> u32 {
        *self.lock()
    }

    /// The connection is gone: whatever was received on it can no longer be acknowledged.
    pub(super) fn shut(&self) {
        let mut generation = self.lock();
        *generation = generation.wrapping_add(1);
    }

    fn lock(&self) -> MutexGuard<'_, u32> {
        self.generation.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Acker {
    pub(super) fn new(gate: Option<Arc<Gate>>, counters: Arc<Counters>) -> Self {
        Self { gate, counters }
    }

    /// Acknowledges messages that are safely stored; give them in order of receipt. Those of a
    /// connection that is gone are dropped and counted: the broker sends them again.
    pub fn ack(&self, stored: impl IntoIterator<Item = Message>) {
        let gate = self.gate.as_ref().map(|gate| (&gate.client, gate.lock()));
        let (mut acknowledged, mut stale) = (0, 0);
        for message in stored {
            let done = match (message.receipt, &gate) {
                (Receipt::None, _) => continue,
                (Receipt::Broker { generation, packet_id }, Some((client, open))) => {
                    generation == **open && client.acknowledge(packet_id).is_ok()
                }
                (Receipt::Broker { .. }, None) => false,
                (Receipt::Publisher(waiting), _) => waiting.send(()).is_ok(),
            };
            if done {
                acknowledged += 1;
            } else {
                stale += 1;
            }
        }
        drop(gate);
        count(&self.counters.acknowledged, acknowledged);
        count(&self.counters.stale, stale);
    }
}
