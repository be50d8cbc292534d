//! The demonstration's sensors, publishing over MQTT as real ones would.

use std::net::SocketAddr;
use std::thread;
use std::time::Duration;

use rumqttc::{AsyncClient, MqttOptions, QoS};
use simulators::radio::Message;
use tokio::sync::mpsc;
use tokio::task::JoinHandle;
use tracing::{debug, warn};

use crate::clock::Clock;
use crate::model::{EventTime, Span};

/// Real time between two looks at the yards.
const LOOK: Duration = Duration::from_millis(40);
/// Connections the yards' gateways share. Each has one message under way at a time.
const GATEWAYS: usize = 4;
/// Messages that may wait for one gateway.
const WAITING: usize = 10_000;

/// Sensors at work, until dropped or stopped.
pub(super) struct Traffic {
    gateways: Vec<JoinHandle<()>>,
}

impl Traffic {
    /// Lets yards live on, with their time kept by `clock`, and publish to `broker`. `live` lets them live until then
    /// and gives what their sensors sent; it may take its time, so it has a thread of its own.
    pub(super) fn start(
        mut live: impl FnMut(EventTime) -> Vec<Message> + Send + 'static,
        clock: Clock,
        broker: SocketAddr,
    ) -> Self {
        let (senders, gateways): (Vec<_>, Vec<_>) = (0..GATEWAYS)
            .map(|number| {
                let (sender, messages) = mpsc::channel(WAITING);
                (sender, tokio::spawn(gateway(number, broker, messages)))
            })
            .unzip();
        thread::spawn(move || {
            let mut at = clock.now();
            loop {
                thread::sleep(LOOK);
                // After a pause of the machine, catch up by the hour rather than all at once.
                at = clock.now().min(at + Span::HOUR);
                for message in live(at) {
                    let number = gateway_of(&message.topic);
                    if senders[number].blocking_send(message).is_err() {
                        return;
                    }
                }
            }
        });
        Self { gateways }
    }

    /// Falls silent.
    pub(super) fn stop(self) {
        self.gateways.iter().for_each(JoinHandle::abort);
    }
}

/// All sensors of a system share a gateway, so their messages stay in order.
fn gateway_of(topic: &str) -> usize {
    let system = topic.split('/').nth(1).unwrap_or(topic);
    system.bytes().map(usize::from).sum::<usize>() % GATEWAYS
}

async fn gateway(number: usize, broker: SocketAddr, mut messages: mpsc::Receiver<Message>) {
    let mut options =
        MqttOptions::new(format!("demo-gateway-{number}"), broker.ip().to_string(), broker.port());
    options.set_keep_alive(Duration::from_mins(1)).set_inflight(1);
    let (client, mut connection) = AsyncClient::new(options, 100);
    let publishing = async move {
        while let Some(message) = messages.recv().await {
            let published = client.publish(message.topic, QoS::AtLeastOnce, message.retain, message.payload);
            if let Err(error) = published.await {
                warn!(%error, "a demonstration message is lost");
            }
        }
    };
    let polling = async move {
        loop {
            if let Err(error) = connection.poll().await {
                debug!(%error, "a demonstration gateway reconnects");
                tokio::time::sleep(Duration::from_millis(200)).await;
            }
        }
    };
    tokio::join!(publishing, polling);
}
