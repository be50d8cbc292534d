//! The connection to a broker: where it is, who may be spoken to, and a sender that knows what was acknowledged.

use std::error::Error;
use std::net::ToSocketAddrs as _;
use std::path::PathBuf;
use std::time::{Duration, Instant};

use rumqttc::{AsyncClient, Event, EventLoop, MqttOptions, Outgoing, Packet, QoS};
use tokio::sync::watch;
use tokio::task::JoinHandle;

use super::latency::Latencies;

/// Messages handed to the client and not yet acknowledged.
const WINDOW: u16 = 200;
/// Largest message (bytes).
const LARGEST: usize = 64 * 1024;
/// Attempts to connect before giving up.
const ATTEMPTS: u32 = 5;

#[derive(Debug, clap::Args)]
pub(super) struct BrokerArgs {
    /// Broker to publish to
    #[arg(long, value_name = "HOST:PORT", default_value = "127.0.0.1:1883")]
    broker: String,
    /// User name at the broker
    #[arg(long)]
    user: Option<String>,
    /// File that holds the password
    #[arg(long, value_name = "FILE", requires = "user")]
    password_file: Option<PathBuf>,
    /// Allow a broker on another machine
    #[arg(long)]
    beyond_loopback: bool,
}

/// What can go wrong before or while publishing.
#[derive(Debug, thiserror::Error)]
pub(super) enum BrokerError {
    #[error("`{0}` is not HOST:PORT")]
    Address(String),
    #[error("`{0}` cannot be resolved")]
    Resolve(String, #[source] std::io::Error),
    #[error("{0} is on another machine; say --beyond-loopback if you mean it")]
    NotLoopback(String),
    #[error("cannot read the password file {}", .0.display())]
    Password(PathBuf, #[source] std::io::Error),
    #[error("no connection to the broker")]
    Connect(#[source] Box<rumqttc::ConnectionError>),
    #[error("the connection to the broker ended")]
    Ended,
}

/// One connection, with its poll loop in a task of its own.
pub(super) struct Sender {
    client: AsyncClient,
    acked: watch::Receiver<u64>,
    poll: JoinHandle<Result<Latencies, BrokerError>>,
}

impl BrokerArgs {
    /// Connection options under a client id; checks address, loopback and password.
    pub(super) fn options(&self, client_id: &str) -> Result<MqttOptions, BrokerError> {
        let bad = || BrokerError::Address(self.broker.clone());
        let (host, port) = self.broker.rsplit_once(':').ok_or_else(bad)?;
        let port: u16 = port.parse().map_err(|_| bad())?;
        let host = host.trim_start_matches('[').trim_end_matches(']');
        let mut addresses =
            (host, port).to_socket_addrs().map_err(|e| BrokerError::Resolve(host.to_owned(), e))?;
        if !self.beyond_loopback && !addresses.all(|address| address.ip().is_loopback()) {
            return Err(BrokerError::NotLoopback(host.to_owned()));
        }
        let mut options = MqttOptions::new(client_id, host, port);
        options.set_keep_alive(Duration::from_mins(1));
        options.set_inflight(WINDOW);
        options.set_max_packet_size(LARGEST, LARGEST);
        if let Some(user) = &self.user {
            options.set_credentials(user, self.password()?);
        }
        Ok(options)
    }

    fn password(&self) -> Result<String, BrokerError> {
        let Some(path) = &self.password_file else {
            return Ok(String::new());
        };
        let text = std::fs::read_to_string(path).map_err(|e| BrokerError::Password(path.clone(), e))?;
        Ok(text.trim_end_matches(['\r', '\n']).to_owned())
    }
}

impl Sender {
    /// Connects.
    pub(super) async fn connect(options: MqttOptions) -> Result<Self, BrokerError> {
        let (client, mut events) = AsyncClient::new(options, usize::from(WINDOW));
        greet(&mut events).await?;
        let (counted, acked) = watch::channel(0);
        Ok(Self { client, acked, poll: tokio::spawn(poll(events, counted)) })
    }

    /// Hands over one message; waits while the window is full.
    pub(super) async fn send(
        &self,
        topic: String,
        payload: Vec<u8>,
        retain: bool,
    ) -> Result<(), BrokerError> {
        self.client.publish(topic, QoS::AtLeastOnce, retain, payload).await.map_err(|_| BrokerError::Ended)
    }

    /// Waits until `sent` messages are acknowledged and closes the connection. Gives what the acknowledgements took.
    pub(super) async fn finish(mut self, sent: u64) -> Result<Latencies, BrokerError> {
        let all_acked = self.acked.wait_for(|acked| *acked >= sent).await.is_ok();
        if all_acked {
            // If the connection goes at this very moment, nothing is lost any more.
            let _ = self.client.disconnect().await;
        }
        self.poll.await.map_err(|_| BrokerError::Ended)?
    }
}

/// Polls until the broker accepts, with a few attempts.
async fn greet(events: &mut EventLoop) -> Result<(), BrokerError> {
    let mut attempt = 0;
    loop {
        match events.poll().await {
            Ok(Event::Incoming(Packet::ConnAck(_))) => return Ok(()),
            Ok(_) => {}
            Err(error) => {
                attempt += 1;
                if attempt == ATTEMPTS {
                    return Err(BrokerError::Connect(Box::new(error)));
                }
                tokio::time::sleep(Duration::from_millis(200 << attempt)).await;
            }
        }
    }
}

async fn poll(mut events: EventLoop, acked: watch::Sender<u64>) -> Result<Latencies, BrokerError> {
    let mut latencies = Latencies::default();
    let mut sent_at = vec![None; usize::from(u16::MAX) + 1];
    loop {
        match events.poll().await {
            Ok(Event::Outgoing(Outgoing::Publish(id))) => sent_at[usize::from(id)] = Some(Instant::now()),
            Ok(Event::Incoming(Packet::PubAck(ack))) => {
                if let Some(sent) = sent_at[usize::from(ack.pkid)].take() {
                    latencies.add(sent.elapsed());
                }
                acked.send_modify(|acked| *acked += 1);
            }
            Ok(Event::Outgoing(Outgoing::Disconnect)) => return Ok(latencies),
            Ok(_) => {}
            Err(error) => return Err(BrokerError::Connect(Box::new(error))),
        }
    }
}

/// Runs a future on a small runtime of its own.
pub(super) fn block_on<T>(
    work: impl Future<Output = Result<T, Box<dyn Error>>>,
) -> Result<T, Box<dyn Error>> {
    tokio::runtime::Builder::new_multi_thread().worker_threads(2).enable_all().build()?.block_on(work)
}
