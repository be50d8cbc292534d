//! Acknowledges stored messages, on the connection they came by and on no other.
//!
//! Packet ids start afresh on every connection. An acknowledgement that slipped onto the next one
//! would tell the broker to forget a message nobody has stored, so a generation number is compared
//! under the same lock that the connection takes to change it.

use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use tokio::sync::Notify;

use super::health::{Counters, count};
use super::message::{Message, Receipt};

/// Acknowledges messages after the writer has stored them. Cheap to clone.
#[derive(Clone)]
pub struct Acker {
    gate: Option<Arc<Gate>>,
    counters: Arc<Counters>,
}

/// Lets acknowledgements through to the connection that is open now.
#[derive(Default)]
pub(super) struct Gate {
    passing: Mutex<Passing>,
    ready: Notify,
}

#[derive(Default)]
struct Passing {
    generation: u32,
    /// Packet ids on their way to the connection; bounded by how many it may have unacknowledged.
    packet_ids: Vec<u16>,
}

impl Gate {
    pub(super) fn generation(&self) -> u32 {
        self.lock().generation
    }

    /// The connection is gone: whatever was received on it can no longer be acknowledged.
    pub(super) fn shut(&self) {
        let mut passing = self.lock();
        passing.generation = passing.generation.wrapping_add(1);
        passing.packet_ids.clear();
    }

    /// Waits until there is something to [`Self::take`]. For one waiter only.
    pub(super) async fn ready(&self) {
        self.ready.notified().await;
    }

    /// What is to be acknowledged now, in order.
    pub(super) fn take(&self) -> Vec<u16> {
        std::mem::take(&mut self.lock().packet_ids)
    }

    fn lock(&self) -> MutexGuard<'_, Passing> {
        self.passing.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Acker {
    pub(super) fn new(gate: Option<Arc<Gate>>, counters: Arc<Counters>) -> Self {
        Self { gate, counters }
    }

    /// Acknowledges messages that are safely stored; give them in order of receipt. Those of a
    /// connection that is gone are dropped and counted: the broker sends them again.
    pub fn ack(&self, stored: impl IntoIterator<Item = Message>) {
        let mut passing = self.gate.as_ref().map(|gate| gate.lock());
        let (mut acknowledged, mut stale) = (0, 0);
        for message in stored {
            let done = match (message.receipt, &mut passing) {
                (Receipt::None, _) => continue,
                (Receipt::Broker { generation, packet_id }, Some(passing)) => {
                    let open = generation == passing.generation;
                    passing.packet_ids.extend(open.then_some(packet_id));
                    open
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
        drop(passing);
        if let Some(gate) = &self.gate {
            gate.ready.notify_one();
        }
        count(&self.counters.acknowledged, acknowledged);
        count(&self.counters.stale, stale);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use bytes::Bytes;
    use tokio::sync::oneshot;

    fn message(receipt: Receipt) -> Message {
        Message { receipt, ..Message::unreceipted("greywater/alder/meter", Bytes::new(), 0) }
    }

    #[test]
    fn only_messages_of_the_open_connection_pass() {
        let gate = Arc::new(Gate::default());
        let acker = Acker::new(Some(Arc::clone(&gate)), Arc::default());
        let received = |packet_id| message(Receipt::Broker { generation: gate.generation(), packet_id });
        let (old, older) = (received(1), received(2));
        acker.ack([older]);
        gate.shut();
        let new = received(1);
        acker.ack([old, new]);
        assert_eq!(gate.take(), [1], "the new one, and none of the connection that is gone");
    }

    #[test]
    fn a_publisher_is_told_and_nobody_else_waits() {
        let (waiting, told) = oneshot::channel();
        let acker = Acker::new(None, Arc::default());
        acker.ack([message(Receipt::None), message(Receipt::Publisher(waiting))]);
        assert_eq!(told.blocking_recv(), Ok(()));
    }
}
