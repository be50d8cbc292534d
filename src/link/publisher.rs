//! The second connection: what we say, apart from what we hear.
//!
//! Acknowledgements and publishes share one request queue in the client library, and a full window
//! of publishes would hold up acknowledgements; so publishing has a connection of its own. It also
//! carries our retained status, with a last will that sets it to offline when we vanish.

use std::collections::{BTreeMap, VecDeque};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use bytes::Bytes;
use mqtt5::broker::router::MessageRouter;
use mqtt5::packet::publish::PublishPacket;
use tokio::sync::{Semaphore, oneshot};
use tokio::task::AbortHandle;
use tracing::{debug, info, warn};

use super::backoff::Backoff;
use super::health::Fault;
use super::link::backoff;
use super::settings::{LinkSettings, SetupError};
use super::status::Status;
use super::wire::{self, Arrival, Client, Connection, Role, Will};
use crate::clock::Clock;

/// Publishes in flight at once. Well below the window of the client library, so that a packet id
/// never comes round while it is still in use.
const IN_FLIGHT: usize = 32;

/// Why something was not published. Nothing is kept for later: whoever asked asks again.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NotPublished {
    /// Not connected at the moment.
    #[error("no connection to the broker")]
    Down,
    /// The connection ended before the broker confirmed; it may have the message or not.
    #[error("the connection ended before the broker confirmed")]
    Unconfirmed,
    /// The broker said no.
    #[error("the broker refused the message: allow this user to publish on the topic")]
    Refused,
    /// Not a topic.
    #[error("not a topic to publish on")]
    Topic,
}

/// Publishes at QoS 1. Cheap to clone.
#[derive(Clone)]
pub struct Publisher {
    outlet: Outlet,
}

#[derive(Clone)]
enum Outlet {
    Broker(Arc<Remote>),
    Embedded(Arc<MessageRouter>),
}

struct Remote {
    client: Client,
    waiting: Arc<Mutex<Waiting>>,
    window: Semaphore,
    status: Option<Status>,
    task: AbortHandle,
}

type Answer = oneshot::Sender<Result<(), NotPublished>>;

/// Who waits for which confirmation.
#[derive(Default)]
struct Waiting {
    connected: bool,
    /// Handed to the client library, packet id not known yet; it keeps the order.
    unsent: VecDeque<Answer>,
    sent: BTreeMap<u16, Answer>,
}

impl Publisher {
    pub(super) fn start(settings: &LinkSettings, clock: &Clock) -> Result<Self, SetupError> {
        let status = settings.status_topic.clone().map(|topic| Status::new(topic, clock.now_ms()));
        let role = Role {
            client_id: format!("{}-out", settings.client_id),
            persistent: false,
            manual_acks: false,
            will: status.as_ref().map(|s| Will { topic: s.topic.clone(), payload: s.offline.clone() }),
        };
        let (client, connection) = wire::open(settings, &role)?;
        let waiting = Arc::new(Mutex::new(Waiting::default()));
        let courier = Courier {
            connection,
            client: client.clone(),
            waiting: Arc::clone(&waiting),
            status: status.clone(),
            backoff: backoff(settings),
        };
        let task = tokio::spawn(courier.run()).abort_handle();
        let remote = Remote { client, waiting, window: Semaphore::new(IN_FLIGHT), status, task };
        Ok(Self { outlet: Outlet::Broker(Arc::new(remote)) })
    }

    /// Publishes at the embedded broker, in this process.
    pub(super) fn embedded(router: Arc<MessageRouter>) -> Self {
        Self { outlet: Outlet::Embedded(router) }
    }

    /// Publishes and waits until the broker has confirmed.
    ///
    /// # Errors
    /// See [`NotPublished`]; the message may be tried again after any but `Topic`.
    pub async fn publish(&self, topic: &str, payload: Bytes, retain: bool) -> Result<(), NotPublished> {
        if mqtt5::validate_topic_name(topic).is_err() {
            return Err(NotPublished::Topic);
        }
        match &self.outlet {
            Outlet::Broker(remote) => remote.publish(topic, payload, retain).await,
            Outlet::Embedded(router) => {
                let packet = PublishPacket::new(topic, payload, mqtt5::QoS::AtLeastOnce);
                router.route_message(&packet.with_retain(retain), None).await;
                Ok(())
            }
        }
    }

    /// Leaves the offline status behind and disconnects, within `limit`.
    pub(super) async fn close(&self, limit: Duration) {
        let Outlet::Broker(remote) = &self.outlet else { return };
        let farewell = async {
            if let Some(status) = &remote.status {
                remote.publish(&status.topic, status.offline.clone(), true).await?;
            }
            remote.client.disconnect().map_err(|_| NotPublished::Down)?;
            while !remote.task.is_finished() {
                tokio::time::sleep(Duration::from_millis(5)).await;
            }
            Ok::<(), NotPublished>(())
        };
        match tokio::time::timeout(limit, farewell).await {
            Ok(Ok(())) => {}
            Ok(Err(error)) => debug!(%error, "no farewell to the broker"),
            Err(_elapsed) => debug!("the broker did not take our farewell in time"),
        }
        remote.task.abort();
    }
}

impl Drop for Remote {
    fn drop(&mut self) {
        self.task.abort();
    }
}

impl Remote {
    async fn publish(&self, topic: &str, payload: Bytes, retain: bool) -> Result<(), NotPublished> {
        let _turn = self.window.acquire().await.map_err(|_closed| NotPublished::Down)?;
        let answer = enqueue(&self.waiting, &self.client, topic, payload, retain)?;
        answer.await.unwrap_or(Err(NotPublished::Unconfirmed))
    }
}

/// Hands a publish to the library and notes who waits for it, under one lock so that both keep
/// the same order.
fn enqueue(
    waiting: &Mutex<Waiting>,
    client: &Client,
    topic: &str,
    payload: Bytes,
    retain: bool,
) -> Result<oneshot::Receiver<Result<(), NotPublished>>, NotPublished> {
    let mut waiting = lock(waiting);
    if !waiting.connected {
        return Err(NotPublished::Down);
    }
    client.publish(topic, payload, retain).map_err(|_| NotPublished::Down)?;
    let (answer, answered) = oneshot::channel();
    waiting.unsent.push_back(answer);
    Ok(answered)
}

fn lock(waiting: &Mutex<Waiting>) -> MutexGuard<'_, Waiting> {
    waiting.lock().unwrap_or_else(PoisonError::into_inner)
}

/// The task that polls the publishing connection.
struct Courier {
    connection: Connection,
    client: Client,
    waiting: Arc<Mutex<Waiting>>,
    status: Option<Status>,
    backoff: Backoff,
}

impl Courier {
    async fn run(mut self) {
        loop {
            let ended = self.serve().await;
            // First refuse new publishes, then forget those of the dead connection.
            *lock(&self.waiting) = Waiting::default();
            self.connection.discard();
            let Err(fault) = ended else { return };
            let pause = self.backoff.pause();
            debug!(%fault, pause_s = pause.as_secs_f64(), "cannot publish for now");
            tokio::time::sleep(pause).await;
        }
    }

    async fn serve(&mut self) -> Result<(), Fault> {
        loop {
            match self.connection.poll().await? {
                Arrival::Connected { .. } => self.connected(),
                Arrival::Sent(packet_id) => self.sent(packet_id),
                Arrival::Confirmed { packet_id, accepted } => self.confirmed(packet_id, accepted),
                Arrival::Disconnecting => return Ok(()),
                Arrival::Subscribed(_) | Arrival::Publish(_) | Arrival::Acknowledged | Arrival::Other => {}
            }
        }
    }

    fn connected(&mut self) {
        self.backoff.reset();
        lock(&self.waiting).connected = true;
        let Some(status) = &self.status else { return };
        // Its confirmation is noted like any other, and nobody waits for it.
        match enqueue(&self.waiting, &self.client, &status.topic, status.online.clone(), true) {
            Ok(_confirmation) => info!(topic = status.topic, "online status published"),
            Err(error) => warn!(%error, topic = status.topic, "online status not published"),
        }
    }

    fn sent(&self, packet_id: u16) {
        let mut waiting = lock(&self.waiting);
        if let Some(answer) = waiting.unsent.pop_front() {
            waiting.sent.insert(packet_id, answer);
        }
    }

    fn confirmed(&self, packet_id: u16, accepted: bool) {
        if let Some(answer) = lock(&self.waiting).sent.remove(&packet_id) {
            let outcome = if accepted { Ok(()) } else { Err(NotPublished::Refused) };
            // Whoever asked may have given up meanwhile.
            let _ = answer.send(outcome);
        }
    }
}
