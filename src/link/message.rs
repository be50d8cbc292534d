//! A message on its way to the writer, and the receipt that goes with it.

use bytes::Bytes;
use tokio::sync::oneshot;

/// One message from the broker. It stays unacknowledged until it is handed to [`super::Acker::ack`].
#[derive(Debug)]
pub struct Message {
    /// Topic it was published on.
    pub topic: Box<str>,
    /// Payload as published.
    pub payload: Bytes,
    /// The broker kept this message and sent it because we subscribed: an old value, not news.
    pub retain: bool,
    /// The broker sent it before. No proof of a duplicate, and its absence no proof of a first.
    pub dup: bool,
    /// When it arrived: Unix milliseconds of the clock the link was given.
    pub received_ms: i64,
    pub(super) receipt: Receipt,
}

impl Message {
    /// A message with nobody to acknowledge it to, for feeding a writer from elsewhere.
    pub fn unreceipted(topic: &str, payload: Bytes, received_ms: i64) -> Self {
        Self { topic: topic.into(), payload, retain: false, dup: false, received_ms, receipt: Receipt::None }
    }

    /// Memory it holds, in bytes, for the bound on what may wait.
    pub(super) fn weight(&self) -> usize {
        size_of::<Self>() + self.topic.len() + self.payload.len()
    }

    pub(super) fn needs_ack(&self) -> bool {
        !matches!(self.receipt, Receipt::None)
    }
}

/// To whom a stored message is acknowledged.
#[derive(Debug)]
pub(super) enum Receipt {
    /// QoS 0: nobody waits.
    None,
    /// A broker, on the connection of that generation only: packet ids start afresh on the next.
    Broker { generation: u32, packet_id: u16 },
    /// A publisher at the embedded broker, whose own acknowledgement waits for ours.
    Publisher(oneshot::Sender<()>),
}
