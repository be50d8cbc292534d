//! The demonstration's sensors, publishing over MQTT as real ones would.

use std::net::SocketAddr;
use std::time::Duration;

use rumqttc::{AsyncClient, MqttOptions, QoS};
use simulators::demo::{Demo, Message};
use tokio::sync::mpsc;
use tokio::task::JoinHandle;
use tracing::{debug, warn};

use crate::clock::Clock;
use crate::model::Span;

/// Real time between two looks at the yards.
const LOOK: Duration = Duration::from_millis(40);
/// Connections the yards' gateways share. Each has one message under way at a time.
const GATEWAYS: usize = 4;
/// Messages that may wait for one gateway.
const WAITING: usize = 10_000;

/// Sensors at work, until dropped or stopped.
pub(super) struct Traffic {
    tasks: Vec<JoinHandle<()>>,
}

impl Traffic {
    /// Lets the yards live on, with their time kept by `clock`, and publish to `broker`.
    pub(super) fn start(mut yards: Demo, clock: Clock, broker: SocketAddr) -> Self {
        let mut tasks = Vec::new();
        let mut gateways = Vec::new();
        for number in 0..GATEWAYS {
            let (sender, messages) = mpsc::channel(WAITING);
            gateways.push(sender);
            tasks.push(tokio::spawn(gateway(number, broker, messages)));
        }
        tasks.push(tokio::spawn(async move {
            let mut at = clock.now();
            loop {
                tokio::time::sleep(LOOK).await;
                // After a pause of the machine, catch up by the hour rather than all at once.
                at = clock.now().min(at + Span::HOUR);
                for message in yards.advance_to(at.millis()) {
                    let number = gateway_of(&message.topic);
                    if gateways[number].send(message).await.is_err() {
                        return;
                    }
                }
            }
        }));
        Self { tasks }
    }

    /// Falls silent.
    pub(super) fn stop(self) {
        self.tasks.iter().for_each(JoinHandle::abort);
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
