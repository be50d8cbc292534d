//! The second connection: what we say, apart from what we hear.
//!
//! So a broker that stops taking our publishes never holds up acknowledgements, and its limits on the
//! one do not touch the other. This connection also carries our retained status, with a last will that
//! sets it to offline when we vanish.

use std::collections::BTreeMap;
use std::future::Future;
use std::pin::pin;
use std::sync::Arc;

use bytes::Bytes;
use mqtt5::broker::router::MessageRouter;
use mqtt5::packet::publish::PublishPacket;
use tokio::sync::{mpsc, oneshot};
use tracing::{debug, info};

use super::health::Fault;
use super::link::backoff;
use super::settings::{LinkSettings, SetupError};
use super::status::Status;
use super::wire::{Arrival, Connection, Dialer, Role, Will};
use crate::backoff::Backoff;
use crate::clock::Clock;

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
    Broker(mpsc::Sender<Order>),
    Embedded(Arc<MessageRouter>),
}

enum Order {
    Publish { topic: String, payload: Bytes, retain: bool, answer: Answer },
    Leave,
}

type Answer = oneshot::Sender<Result<(), NotPublished>>;

impl Publisher {
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
            Outlet::Broker(orders) => {
                let (answer, answered) = oneshot::channel();
                let order = Order::Publish { topic: topic.to_owned(), payload, retain, answer };
                orders.send(order).await.map_err(|_| NotPublished::Down)?;
                answered.await.unwrap_or(Err(NotPublished::Unconfirmed))
            }
            Outlet::Embedded(router) => {
                let packet = PublishPacket::new(topic, payload, mqtt5::QoS::AtLeastOnce);
                router.route_message(&packet.with_retain(retain), None).await;
                Ok(())
            }
        }
    }

    /// Asks the connection to leave the offline status behind and end, behind what was asked before.
    pub(super) async fn leave(&self) {
        if let Outlet::Broker(orders) = &self.outlet {
            // It has ended already if nobody takes the order.
            let _ = orders.send(Order::Leave).await;
        }
    }
}

/// The task that carries orders to the broker.
pub(super) struct Courier {
    dialer: Dialer,
    orders: mpsc::Receiver<Order>,
    status: Option<Status>,
    backoff: Backoff,
}

/// The courier is to end.
struct Ended;

/// Publishes that the broker has not confirmed yet, and who waits for them.
#[derive(Default)]
struct Unconfirmed {
    answers: BTreeMap<u16, Option<Answer>>,
    last_id: u16,
}

impl Courier {
    pub(super) fn new(settings: &LinkSettings, clock: &Clock) -> Result<(Publisher, Self), SetupError> {
        let status = settings.status_topic.clone().map(|topic| Status::new(topic, clock.now_ms()));
        let role = Role {
            client_id: format!("{}-out", settings.client_id),
            persistent: false,
            will: status
                .as_ref()
                .map(|status| Will { topic: status.topic.clone(), payload: status.offline.clone() }),
        };
        let dialer = Dialer::new(settings, role)?;
        let (sender, orders) = mpsc::channel(64);
        let courier = Self { dialer, orders, status, backoff: backoff(settings) };
        Ok((Publisher { outlet: Outlet::Broker(sender) }, courier))
    }

    /// Runs until asked to leave.
    pub(super) async fn run(mut self) {
        loop {
            let connecting = self.dialer.connect();
            let fault = match meanwhile(&mut self.orders, connecting).await {
                Err(Ended) => return,
                Ok(Err(fault)) => fault,
                Ok(Ok((connection, _welcome))) => {
                    self.backoff.reset();
                    match self.serve(connection).await {
                        Ok(()) => return,
                        Err(fault) => fault,
                    }
                }
            };
            let pause = self.backoff.pause();
            debug!(%fault, pause_s = pause.as_secs_f64(), "cannot publish for now");
            if meanwhile(&mut self.orders, tokio::time::sleep(pause)).await.is_err() {
                return;
            }
        }
    }

    /// Works one connection; whoever still waits when it ends is told so by the dropped answer.
    async fn serve(&mut self, mut connection: Connection) -> Result<(), Fault> {
        let mut unconfirmed = Unconfirmed::default();
        if let Some(status) = &self.status {
            let id = unconfirmed.next_id(None);
            connection.publish(id, &status.topic, status.online.clone(), true);
            info!(topic = status.topic, "publishing our status");
        }
        loop {
            let window_open = unconfirmed.answers.len() < connection.window();
            tokio::select! {
                order = self.orders.recv(), if window_open => match order {
                    Some(Order::Publish { topic, payload, retain, answer }) => {
                        let id = unconfirmed.next_id(Some(answer));
                        connection.publish(id, &topic, payload, retain);
                    }
                    Some(Order::Leave) | None => return self.leave(connection, unconfirmed).await,
                },
                arrival = connection.next(true) => unconfirmed.note(&arrival?),
            }
        }
    }

    /// Leaves once everything is confirmed, the offline status last.
    async fn leave(&self, mut connection: Connection, mut unconfirmed: Unconfirmed) -> Result<(), Fault> {
        if let Some(status) = &self.status {
            let id = unconfirmed.next_id(None);
            connection.publish(id, &status.topic, status.offline.clone(), true);
        }
        while !unconfirmed.answers.is_empty() {
            unconfirmed.note(&connection.next(true).await?);
        }
        connection.leave().await
    }
}

impl Unconfirmed {
    /// An id for the next publish. The window is far smaller than the ids are many, so a free one is near.
    fn next_id(&mut self, answer: Option<Answer>) -> u16 {
        loop {
            self.last_id = self.last_id.checked_add(1).unwrap_or(1);
            if !self.answers.contains_key(&self.last_id) {
                self.answers.insert(self.last_id, answer);
                return self.last_id;
            }
        }
    }

    fn note(&mut self, arrival: &Arrival) {
        let &Arrival::Confirmed { packet_id, accepted } = arrival else { return };
        if let Some(Some(answer)) = self.answers.remove(&packet_id) {
            // Whoever asked may have given up meanwhile.
            let _ = answer.send(if accepted { Ok(()) } else { Err(NotPublished::Refused) });
        }
    }
}

/// Waits for something while there is no connection, turning down what is to be published.
async fn meanwhile<T>(
    orders: &mut mpsc::Receiver<Order>,
    awaited: impl Future<Output = T>,
) -> Result<T, Ended> {
    let mut awaited = pin!(awaited);
    loop {
        tokio::select! {
            done = &mut awaited => return Ok(done),
            order = orders.recv() => match order {
                Some(Order::Publish { answer, .. }) => {
                    // Whoever asked may have given up meanwhile.
                    let _ = answer.send(Err(NotPublished::Down));
                }
                Some(Order::Leave) | None => return Err(Ended),
            },
        }
    }
}
