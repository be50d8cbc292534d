//! Takes what is published at the embedded broker, and holds each acknowledgement until it is stored.

use std::future::Future;
use std::pin::Pin;
use std::sync::{Arc, OnceLock};
use std::time::Duration;

use mqtt5::QoS;
use mqtt5::broker::router::MessageRouter;
use mqtt5::broker::{BrokerEventHandler, ClientPublishEvent, PublishAction};
use mqtt5::packet::publish::PublishPacket;
use tokio::sync::{oneshot, watch};
use tracing::warn;

use super::health::{Counters, count};
use super::inbox::{Feed, Full};
use super::message::{Message, Receipt};
use crate::clock::Clock;

pub(super) struct Tap {
    pub(super) filters: watch::Receiver<Vec<String>>,
    pub(super) feed: Arc<Feed>,
    pub(super) counters: Arc<Counters>,
    /// Set once the broker exists; it needs the tap to come into being.
    pub(super) router: Arc<OnceLock<Arc<MessageRouter>>>,
    pub(super) store_within: Duration,
    pub(super) clock: Clock,
}

/// The message was not stored in time, or there was no room for it.
struct NotStored;

impl BrokerEventHandler for Tap {
    fn on_client_publish<'a>(
        &'a self,
        event: ClientPublishEvent,
    ) -> Pin<Box<dyn Future<Output = PublishAction> + Send + 'a>> {
        Box::pin(async move {
            if !self.concerns(&event.topic) {
                return PublishAction::Continue;
            }
            match self.store(&event).await {
                Ok(()) => PublishAction::Continue,
                Err(NotStored) => self.refuse(event).await,
            }
        })
    }
}

impl Tap {
    fn concerns(&self, topic: &str) -> bool {
        self.filters.borrow().iter().any(|filter| mqtt5::topic_matches_filter(topic, filter))
    }

    /// Hands the message to the writer; above QoS 0, waits until it is stored.
    async fn store(&self, event: &ClientPublishEvent) -> Result<(), NotStored> {
        count(&self.counters.received, 1);
        if event.qos == QoS::AtMostOnce {
            let shed = self.offer(event, Receipt::None).is_err();
            count(&self.counters.shed, shed.into());
            return Ok(());
        }
        let (waiting, stored) = oneshot::channel();
        self.offer(event, Receipt::Publisher(waiting)).map_err(|Full| NotStored)?;
        match tokio::time::timeout(self.store_within, stored).await {
            Ok(Ok(())) => Ok(()),
            // The writer let go of it, or the time is up.
            Ok(Err(_)) | Err(_) => Err(NotStored),
        }
    }

    fn offer(&self, event: &ClientPublishEvent, receipt: Receipt) -> Result<(), Full> {
        self.feed.offer(Message {
            topic: (*event.topic).into(),
            payload: event.payload.clone(),
            // The publisher's wish to have it kept; to us it is news.
            retain: false,
            dup: false,
            received_ms: self.clock.now_ms(),
            receipt,
        })
    }

    /// Leaves the publisher unanswered and ends its connection, so that it sends the message again.
    /// The broker knows no refusal that is not an acknowledgement, except to treat the message as
    /// QoS 0: subscribers see it, the publisher gets no answer.
    async fn refuse(&self, event: ClientPublishEvent) -> PublishAction {
        count(&self.counters.refused, 1);
        if !self.feed.is_closed() {
            warn!(client = %event.client_id, topic = %event.topic,
                "message not stored in time; disconnecting its publisher unacknowledged");
        }
        if let Some(router) = self.router.get() {
            router.disconnect_client(&event.client_id).await;
        }
        let unanswered = PublishPacket::new(&*event.topic, event.payload, QoS::AtMostOnce);
        PublishAction::Transform(unanswered)
    }
}
