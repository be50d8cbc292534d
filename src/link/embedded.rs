//! A broker inside the daemon, for `demo` and for small installations.
//!
//! It acknowledges a message to its publisher only after the ledger has committed it. The broker
//! awaits `Tap::on_client_publish` between taking a PUBLISH and answering it, and the tap answers
//! when the writer has. So a `kill -9` loses nothing that a sensor was told is safe, without a second
//! copy on disk. What this costs, and what it does not cover:
//!
//! * Each connection has one message on its way at a time, because the broker handles the packets of
//!   a connection in turn. Many sensors share a commit; a single fast publisher waits for one each.
//! * A message that cannot be stored in time (the disk is full, say) is not acknowledged, and its
//!   publisher is disconnected so that it sends again.
//! * QoS 0 is not acknowledged by anyone, and is shed when the writer is far behind. Last wills are
//!   passed to subscribers but are not readings.
//! * Retained messages and other clients' sessions live in memory and end with the process. An
//!   installation that needs those to last wants a broker of its own.

use std::net::SocketAddr;
use std::path::PathBuf;
use std::sync::{Arc, OnceLock};
use std::time::Duration;

use mqtt5::broker::auth::{AuthProvider, AuthRateLimiter, RateLimitedAuthProvider};
use mqtt5::broker::config::{BrokerConfig, StorageBackend, StorageConfig};
use mqtt5::broker::{AllowAllAuthProvider, BrokerShutdownHandle, MqttBroker};
use tokio::sync::watch;
use tokio::task::JoinHandle;
use tracing::{info, warn};

use super::acker::Acker;
use super::health::{Counters, Health, LinkState};
use super::inbox::{Feed, Inbox, inbox};
use super::passwords::{PasswordError, read_passwords};
use super::publisher::Publisher;
use super::settings::{SetupError, check_filters};
use super::tap::Tap;
use crate::clock::Clock;

/// Messages the broker keeps for one absent subscriber, and their bytes.
const QUEUED: (usize, usize) = (10_000, 8 << 20);

/// Retained messages, and the bytes of each.
const RETAINED: (usize, usize) = (20_000, 64 << 10);

/// Unconfirmed messages on their way to one subscriber.
const OUTBOUND_WINDOW: u16 = 1_000;

/// Wrong passwords from one address or for one user before both are shut out for [`LOCKOUT_S`].
const ATTEMPTS: u32 = 20;
const ATTEMPT_WINDOW_S: u64 = 60;
const LOCKOUT_S: u64 = 60;

/// How the embedded broker listens.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct EmbeddedSettings {
    /// Address and port; port 0 takes any free one.
    pub listen: SocketAddr,
    /// Users and hashed passwords, one `user:hash` a line. Required beyond loopback.
    pub password_file: Option<PathBuf>,
    /// Topic filters of what goes to the writer; everything else only to subscribers.
    pub filters: Vec<String>,
    /// Most clients at one time.
    pub max_clients: usize,
    /// Most messages that may wait for the writer.
    pub max_waiting: usize,
    /// The same bound in bytes.
    pub max_waiting_bytes: usize,
    /// Largest packet to accept, in bytes.
    pub max_packet_bytes: usize,
    /// Longest a publisher waits for its message to be stored before it is disconnected instead.
    pub store_within: Duration,
}

impl EmbeddedSettings {
    /// Loopback on the given port (0 for any), without passwords.
    pub fn loopback(port: u16) -> Self {
        Self {
            listen: SocketAddr::from(([127, 0, 0, 1], port)),
            password_file: None,
            filters: vec!["greywater/#".into()],
            max_clients: 1_000,
            max_waiting: 20_000,
            max_waiting_bytes: 32 << 20,
            max_packet_bytes: 128 << 10,
            store_within: Duration::from_secs(15),
        }
    }
}

/// Why the embedded broker does not start.
#[derive(Debug, thiserror::Error)]
pub enum EmbeddedError {
    /// Anyone on the network could report anything.
    #[error("refusing to listen on {0} without passwords: name a password file, or listen on 127.0.0.1")]
    Open(SocketAddr),
    /// The password file cannot be used.
    #[error("cannot use the password file")]
    Passwords(#[from] PasswordError),
    /// A topic filter is none.
    #[error(transparent)]
    Filters(#[from] SetupError),
    /// The address is taken, not ours, or privileged.
    #[error("cannot listen on {listen}")]
    Listen {
        /// Address asked for.
        listen: SocketAddr,
        /// What the broker said.
        source: mqtt5::MqttError,
    },
    /// It stopped before it was ready.
    #[error("the embedded broker stopped while starting")]
    Stopped,
}

/// A running broker. Dropping it stops it at once; [`Self::stop`] does so in order.
pub struct EmbeddedBroker {
    address: SocketAddr,
    filters: watch::Sender<Vec<String>>,
    feed: Arc<Feed>,
    shutdown: BrokerShutdownHandle,
    task: JoinHandle<()>,
    state: watch::Sender<LinkState>,
    health: Health,
    publisher: Publisher,
}

impl EmbeddedBroker {
    /// Starts listening. Messages come out of the [`Inbox`]; each publisher is answered when its
    /// message is handed to the [`Acker`].
    ///
    /// # Errors
    /// See [`EmbeddedError`].
    pub async fn start(
        settings: &EmbeddedSettings,
        clock: Clock,
    ) -> Result<(Self, Inbox, Acker), EmbeddedError> {
        check_filters(&settings.filters)?;
        let auth = authentication(settings)?;
        let (feed, inbox) = inbox(settings.max_waiting, settings.max_waiting_bytes);
        let feed = Arc::new(feed);
        let counters = Arc::new(Counters::default());
        let router = Arc::new(OnceLock::new());
        let since_ms = clock.now_ms();
        let (filters, wanted) = watch::channel(settings.filters.clone());
        let tap = Tap {
            filters: wanted,
            feed: Arc::clone(&feed),
            counters: Arc::clone(&counters),
            router: Arc::clone(&router),
            store_within: settings.store_within,
            clock,
        };
        let refused = |source| EmbeddedError::Listen { listen: settings.listen, source };
        let mut broker = MqttBroker::with_config(configuration(settings, tap))
            .await
            .map_err(refused)?
            .with_auth_provider(auth);
        let address = broker.local_addr().ok_or(EmbeddedError::Stopped)?;
        let publisher = Publisher::embedded(Arc::clone(router.get_or_init(|| broker.router())));
        let shutdown = broker.shutdown_handle();
        let mut ready = broker.ready_receiver();
        let task = tokio::spawn(async move {
            if let Err(error) = broker.run().await {
                warn!(%error, "the embedded broker stopped");
            }
        });
        ready.wait_for(|ready| *ready).await.map_err(|_| EmbeddedError::Stopped)?;
        info!(%address, "embedded broker listening");
        let (state, watching) = watch::channel(LinkState::Up { since_ms });
        let health = Health { state: watching, counters: Arc::clone(&counters) };
        let acker = Acker::new(None, counters);
        Ok((Self { address, filters, feed, shutdown, task, state, health, publisher }, inbox, acker))
    }

    /// Where it listens; the port is the real one.
    pub fn address(&self) -> SocketAddr {
        self.address
    }

    /// Hands what is published under these topic filters to the writer from now on.
    ///
    /// # Errors
    /// When one is no topic filter; nothing is changed then.
    pub fn listen_to(&self, filters: Vec<String>) -> Result<(), SetupError> {
        check_filters(&filters)?;
        self.filters.send_replace(filters);
        Ok(())
    }

    /// Watches what passes through it.
    pub fn health(&self) -> Health {
        self.health.clone()
    }

    /// Publishes to its subscribers from inside the process.
    pub fn publisher(&self) -> Publisher {
        self.publisher.clone()
    }

    /// First step of an orderly end: nothing more is taken, and the inbox closes once it is empty.
    /// Publishers whose messages are still being stored get their answers.
    pub fn stop_taking(&self) {
        self.feed.close();
    }

    /// Last step: disconnects every client and frees the port. Takes 5 seconds at most.
    pub async fn stop(mut self) {
        self.stop_taking();
        self.shutdown.shutdown();
        // The broker bounds its own shutdown; a task that panicked has ended as well.
        let _ = (&mut self.task).await;
        self.state.send_replace(LinkState::Stopped);
    }
}

impl Drop for EmbeddedBroker {
    fn drop(&mut self) {
        self.task.abort();
    }
}

fn configuration(settings: &EmbeddedSettings, tap: Tap) -> BrokerConfig {
    let storage = StorageConfig::new()
        .with_backend(StorageBackend::Memory)
        .with_max_queued_messages_per_client(QUEUED.0)
        .with_max_queued_bytes_per_client(QUEUED.1);
    BrokerConfig::new()
        .with_bind_address(settings.listen)
        .with_max_clients(settings.max_clients)
        .with_max_packet_size(settings.max_packet_bytes)
        .with_max_retained_messages(RETAINED.0)
        .with_max_retained_message_size(RETAINED.1)
        .with_max_outbound_inflight(OUTBOUND_WINDOW)
        .with_sys_topics_enabled(false)
        .with_storage(storage)
        .with_event_handler(Arc::new(tap))
}

fn authentication(settings: &EmbeddedSettings) -> Result<Arc<dyn AuthProvider>, EmbeddedError> {
    match &settings.password_file {
        Some(path) => {
            let limiter = AuthRateLimiter::new(ATTEMPTS, ATTEMPT_WINDOW_S, LOCKOUT_S);
            let users = Arc::new(read_passwords(path)?);
            Ok(Arc::new(RateLimitedAuthProvider::new(users, Arc::new(limiter))))
        }
        None if settings.listen.ip().is_loopback() => Ok(Arc::new(AllowAllAuthProvider)),
        None => Err(EmbeddedError::Open(settings.listen)),
    }
}
