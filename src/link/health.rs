//! How the link is doing: its state, and counts of what passed through it.

use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use tokio::sync::watch;

/// Why there is no connection, in words for whoever must mend it.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Fault {
    /// Name resolution, routing, or nobody listening.
    #[error("cannot reach the broker: {0}")]
    Unreachable(String),
    /// It took too long to answer.
    #[error("the broker does not answer")]
    NoAnswer,
    /// Wrong user name or password, or none where one is needed.
    #[error("the broker refused the user name or password")]
    LoginRefused,
    /// Refused for another reason.
    #[error("the broker refused the connection: {0}")]
    Refused(String),
    /// Certificates, names or versions of TLS.
    #[error("TLS failed: {0}")]
    Tls(String),
    /// The access list does not let us listen.
    #[error("the broker refused the subscription to {0}: allow this user to read it")]
    SubscriptionRefused(String),
    /// Somebody else uses our name.
    #[error("another client connected with the same client id: give each daemon its own")]
    TakenOver,
    /// The connection ended without a reason given. MQTT 3.1.1 has none to give, and
    /// Mosquitto gives none with MQTT 5 either, not even for a client id that is used twice.
    #[error("the broker closed the connection; if this repeats, look for a second user of our client id")]
    Closed,
    /// The broker broke the protocol, or reported an error of its own.
    #[error("protocol error: {0}")]
    Protocol(String),
}

/// Where the link stands. Times are Unix milliseconds of the clock the link was given.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum LinkState {
    /// Not connected yet, no fault so far.
    Connecting,
    /// Connected and subscribed.
    Up {
        /// Since when.
        since_ms: i64,
    },
    /// Not connected; the link keeps trying.
    Down {
        /// Since when.
        since_ms: i64,
        /// The last fault.
        why: Fault,
    },
    /// Ended on purpose.
    Stopped,
}

macro_rules! counters {
    ($($(#[$doc:meta])* $name:ident,)*) => {
        /// What passed through the link since it started.
        #[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
        pub struct Counts { $($(#[$doc])* pub $name: u64,)* }

        #[derive(Debug, Default)]
        pub(super) struct Counters { $(pub(super) $name: AtomicU64,)* }

        impl Counters {
            fn read(&self) -> Counts {
                Counts { $($name: self.$name.load(Ordering::Relaxed),)* }
            }
        }
    };
}

counters! {
    /// Messages taken from the broker.
    received,
    /// Messages acknowledged to the broker.
    acknowledged,
    /// Acknowledgements dropped because their connection was gone; the broker sends those messages again.
    stale,
    /// Messages that the broker marked as sent before.
    redelivered,
    /// QoS 0 messages dropped because the writer was behind.
    shed,
    /// Messages larger than we take: skipped, and acknowledged so that they do not come again.
    oversized,
    /// Connections made after the first.
    reconnects,
    /// Reconnections that found no stored session: what was published meanwhile is lost.
    sessions_lost,
    /// Messages left unacknowledged by the embedded broker because they could not be stored in time.
    refused,
}

pub(super) fn count(counter: &AtomicU64, by: u64) {
    counter.fetch_add(by, Ordering::Relaxed);
}

/// Watches a link from outside; cheap to clone.
#[derive(Clone, Debug)]
pub struct Health {
    pub(super) state: watch::Receiver<LinkState>,
    pub(super) counters: Arc<Counters>,
}

impl Health {
    /// The state now.
    pub fn state(&self) -> LinkState {
        self.state.borrow().clone()
    }

    /// The counts now.
    pub fn counts(&self) -> Counts {
        self.counters.read()
    }

    /// Waits until the state satisfies `wanted` and returns it; `Stopped` once the link is gone.
    pub async fn wait_for(&mut self, mut wanted: impl FnMut(&LinkState) -> bool) -> LinkState {
        match self.state.wait_for(|state| wanted(state)).await {
            Ok(state) => state.clone(),
            Err(_gone) => LinkState::Stopped,
        }
    }
}
