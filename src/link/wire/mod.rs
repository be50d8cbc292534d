//! MQTT on the wire: one connection at a time, with packets encoded and decoded by `rumqttc`.
//!
//! The library's own event loop is left out, for three reasons that were measured. It cannot stop
//! reading while the writer is behind: Mosquitto 2.0.11 sends a whole queue without minding its window
//! once acknowledgements come in batches, and memory would have to hold it. It writes acknowledgements
//! one by one, between reads, so that they fall ever further behind. And a poll that is cancelled while
//! it connects starts over. Here reading stops and goes on at will, while acknowledgements and pings
//! still go out, and every wait may be cancelled at any time.

mod connection;
mod dialer;
mod oversized;
mod v311;
mod v5;

use bytes::Bytes;

pub(super) use connection::Connection;
pub(super) use dialer::{Dialer, Role};

/// A retained message that the broker publishes for us when we vanish.
#[derive(Clone, Debug)]
pub(super) struct Will {
    pub(super) topic: String,
    pub(super) payload: Bytes,
}

/// The broker's answer to our greeting.
#[derive(Debug, Default)]
pub(super) struct Welcome {
    pub(super) session_present: bool,
    /// Seconds between pings that the broker asks for in place of ours.
    keep_alive_s: Option<u16>,
    /// Publishes of ours that it takes unconfirmed.
    window: Option<u16>,
}

/// One thing that the broker sent.
#[derive(Debug)]
pub(super) enum Arrival {
    Welcome(Welcome),
    Subscribed(Granted),
    Publish(Publish),
    /// A publish beyond the largest packet we take; its payload was skipped.
    Oversized {
        packet_id: u16,
        bytes: usize,
    },
    /// The broker's answer to one of our publishes.
    Confirmed {
        packet_id: u16,
        accepted: bool,
    },
    Other,
}

#[derive(Debug, PartialEq, Eq)]
pub(super) enum Granted {
    Acknowledged,
    /// The broker will only send at QoS 0: nothing it loses comes again.
    Unacknowledged,
    Refused,
}

#[derive(Debug)]
pub(super) struct Publish {
    pub(super) topic: Box<str>,
    pub(super) payload: Bytes,
    pub(super) retain: bool,
    pub(super) dup: bool,
    /// 0 for QoS 0.
    pub(super) packet_id: u16,
}
