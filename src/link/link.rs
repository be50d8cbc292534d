//! The link to a broker of your own.

use std::hash::{BuildHasher as _, RandomState};
use std::sync::Arc;
use std::time::Duration;

use tokio::sync::{Notify, watch};
use tokio::task::JoinHandle;

use super::acker::{Acker, Gate};
use super::health::{Counters, Health, LinkState};
use super::inbox::{Feed, Inbox, inbox};
use super::publisher::{Courier, Publisher};
use super::receive::Receiver;
use super::settings::{LinkSettings, SetupError, check_filters};
use super::wire::{Dialer, Role};
use crate::backoff::Backoff;
use crate::clock::Clock;

/// How long each connection's farewell may take before it is simply dropped.
const FAREWELL: Duration = Duration::from_secs(2);

/// A connection that receives, one that publishes, and what it takes to end both in order.
pub struct Link {
    filters: watch::Sender<Vec<String>>,
    leave: Arc<Notify>,
    feed: Arc<Feed>,
    receiving: JoinHandle<()>,
    publishing: JoinHandle<()>,
    health: Health,
    publisher: Publisher,
}

impl Link {
    /// Starts connecting, in tasks of the runtime this is called in. Messages come out of the
    /// [`Inbox`]; hand them to the [`Acker`] once they are stored.
    ///
    /// # Errors
    /// Only for settings and files that can never work. An unreachable broker is not an error:
    /// the link keeps trying, and [`Health`] says why it is down.
    pub fn start(settings: &LinkSettings, clock: Clock) -> Result<(Self, Inbox, Acker), SetupError> {
        settings.check()?;
        let role = Role { client_id: settings.client_id.clone(), persistent: true, will: None };
        let dialer = Dialer::new(settings, role)?;
        let (publisher, courier) = Courier::new(settings, &clock)?;
        let (feed, inbox) = inbox(settings.max_waiting, settings.max_waiting_bytes);
        let feed = Arc::new(feed);
        let counters = Arc::new(Counters::default());
        let gate = Arc::new(Gate::default());
        let leave = Arc::new(Notify::new());
        let (state, watching) = watch::channel(LinkState::Connecting);
        let (filters, wanted) = watch::channel(settings.filters.clone());
        let receiver = Receiver {
            dialer,
            filters: wanted,
            gate: Arc::clone(&gate),
            feed: Arc::clone(&feed),
            leave: Arc::clone(&leave),
            clock,
            state,
            counters: Arc::clone(&counters),
            backoff: backoff(settings),
        };
        let health = Health { state: watching, counters: Arc::clone(&counters) };
        let receiving = tokio::spawn(receiver.run());
        let publishing = tokio::spawn(courier.run());
        let acker = Acker::new(Some(gate), counters);
        Ok((Self { filters, leave, feed, receiving, publishing, health, publisher }, inbox, acker))
    }

    /// Listens to these topic filters from now on: subscribes to the new ones, ends the others.
    ///
    /// # Errors
    /// When one is no topic filter; nothing is changed then.
    pub fn listen_to(&self, filters: Vec<String>) -> Result<(), SetupError> {
        check_filters(&filters)?;
        self.filters.send_if_modified(|old| std::mem::replace(old, filters) != *old);
        Ok(())
    }

    /// Watches the receiving connection.
    pub fn health(&self) -> Health {
        self.health.clone()
    }

    /// The publishing connection.
    pub fn publisher(&self) -> Publisher {
        self.publisher.clone()
    }

    /// First step of an orderly end: nothing more is taken, and the inbox closes once it is empty.
    /// The connection stays, so that what the writer still stores can be acknowledged.
    pub fn stop_taking(&self) {
        self.feed.close();
    }

    /// Last step: sends the acknowledgements given so far and the retained offline status, then
    /// disconnects. Takes 4 seconds at most.
    pub async fn disconnect(mut self) {
        self.stop_taking();
        if matches!(self.health.state(), LinkState::Up { .. }) {
            self.leave.notify_one();
            // Out of time or not, the task is ended below.
            let _ = tokio::time::timeout(FAREWELL, &mut self.receiving).await;
        }
        self.publisher.leave().await;
        let _ = tokio::time::timeout(FAREWELL, &mut self.publishing).await;
    }
}

impl Drop for Link {
    fn drop(&mut self) {
        self.receiving.abort();
        self.publishing.abort();
    }
}

/// Pauses of this daemon's own: the seed differs in every process.
pub(super) fn backoff(settings: &LinkSettings) -> Backoff {
    let seed = RandomState::new().hash_one(&settings.client_id);
    Backoff::new(settings.first_pause, settings.longest_pause, seed)
}
