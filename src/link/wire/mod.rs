//! The MQTT client library, behind one small interface so that it can be replaced.
//!
//! Nothing outside this folder names it. Its traps and how they are met:
//! * Polling restarts the handshake if it is cancelled while connecting: only one task polls a
//!   [`Connection`], and nothing but ending that task ever interrupts it.
//! * After an error it keeps events of the dead connection and requests meant for it:
//!   [`Connection::discard`] forgets both.
//! * It blocks for good on a full request queue: every request here is a try, and the queue holds
//!   more acknowledgements than MQTT has packet ids.
//! * Its MQTT 5 half flushes without a timeout: a connected poll that says nothing for longer than
//!   the pings allow counts as a dead connection.

#![expect(clippy::wildcard_enum_match_arm, reason = "the library's enums are long and not ours to exhaust")]

use std::time::Duration;

use bytes::Bytes;

use super::health::Fault;
use super::settings::{LinkSettings, Protocol, SetupError};

mod v311;
mod v5;

/// Requests the client may hold: one acknowledgement for each packet id, and a few of our own.
const REQUESTS: usize = u16::MAX as usize + 64;

/// Outgoing publishes that may be unconfirmed at once.
const UNCONFIRMED: u16 = 100;

/// A retained message that the broker publishes for us when we vanish.
#[derive(Clone, Debug)]
pub(super) struct Will {
    pub(super) topic: String,
    pub(super) payload: Bytes,
}

/// In what role a connection is made; the rest is in [`LinkSettings`].
pub(super) struct Role {
    pub(super) client_id: String,
    /// The broker keeps the session and its messages while we are away.
    pub(super) persistent: bool,
    /// Messages are acknowledged by [`Client::acknowledge`] alone, not by the library.
    pub(super) manual_acks: bool,
    pub(super) will: Option<Will>,
}

/// One thing that happened on the connection.
#[derive(Debug)]
pub(super) enum Arrival {
    Connected {
        session_present: bool,
    },
    Subscribed(Granted),
    Publish(Publish),
    /// One of our acknowledgements is on the wire.
    Acknowledged,
    /// One of our publishes went out under this packet id, in the order they were asked for.
    Sent(u16),
    /// The broker answered one of our publishes.
    Confirmed {
        packet_id: u16,
        accepted: bool,
    },
    /// Our own farewell went out.
    Disconnecting,
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

/// The library would not take a request: the connection is ending, or too much is waiting.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct NotTaken;

/// Asks the connection to send something; never waits.
#[derive(Clone)]
pub(super) enum Client {
    V311(rumqttc::AsyncClient),
    V5(rumqttc::v5::AsyncClient),
}

/// Drives the connection, and makes a new one after a fault.
pub(super) struct Connection {
    driver: Driver,
    connected: bool,
    patience: Duration,
}

enum Driver {
    V311(Box<rumqttc::EventLoop>),
    V5(Box<rumqttc::v5::EventLoop>),
}

pub(super) fn open(settings: &LinkSettings, role: &Role) -> Result<(Client, Connection), SetupError> {
    let (client, driver) = match settings.protocol {
        Protocol::V311 => {
            let (client, driver) = v311::open(settings, role)?;
            (Client::V311(client), Driver::V311(Box::new(driver)))
        }
        Protocol::V5 => {
            let (client, driver) = v5::open(settings, role)?;
            (Client::V5(client), Driver::V5(Box::new(driver)))
        }
    };
    let patience =
        Duration::from_secs(u64::from(settings.keep_alive_s) * 2 + u64::from(settings.connect_timeout_s));
    Ok((client, Connection { driver, connected: false, patience }))
}

/// The transport a connection is made over.
fn transport(settings: &LinkSettings) -> Result<rumqttc::Transport, SetupError> {
    match &settings.tls {
        None => Ok(rumqttc::Transport::tcp()),
        Some(files) => super::tls::client_config(files)
            .map(|config| rumqttc::Transport::tls_with_config(rumqttc::TlsConfiguration::Rustls(config))),
    }
}

/// The library joins host and port with a colon, so a bare IPv6 address needs its brackets.
fn host(settings: &LinkSettings) -> String {
    match settings.host.parse::<std::net::Ipv6Addr>() {
        Ok(address) => format!("[{address}]"),
        Err(_) => settings.host.clone(),
    }
}

fn io_fault(error: &std::io::Error) -> Fault {
    match error.kind() {
        std::io::ErrorKind::UnexpectedEof
        | std::io::ErrorKind::ConnectionReset
        | std::io::ErrorKind::ConnectionAborted
        | std::io::ErrorKind::BrokenPipe => Fault::Closed,
        std::io::ErrorKind::TimedOut => Fault::NoAnswer,
        _ => Fault::Unreachable(error.to_string()),
    }
}

fn tls_fault(error: &rumqttc::TlsError) -> Fault {
    match error {
        rumqttc::TlsError::Io(source) => Fault::Tls(source.to_string()),
        other => Fault::Tls(other.to_string()),
    }
}

impl Client {
    pub(super) fn subscribe(&self, filters: &[String]) -> Result<(), NotTaken> {
        match self {
            Self::V311(client) => v311::subscribe(client, filters),
            Self::V5(client) => v5::subscribe(client, filters),
        }
    }

    pub(super) fn acknowledge(&self, packet_id: u16) -> Result<(), NotTaken> {
        match self {
            Self::V311(client) => v311::acknowledge(client, packet_id),
            Self::V5(client) => v5::acknowledge(client, packet_id),
        }
    }

    /// Publishes at QoS 1.
    pub(super) fn publish(&self, topic: &str, payload: Bytes, retain: bool) -> Result<(), NotTaken> {
        match self {
            Self::V311(client) => v311::publish(client, topic, payload, retain),
            Self::V5(client) => v5::publish(client, topic, payload, retain),
        }
    }

    pub(super) fn disconnect(&self) -> Result<(), NotTaken> {
        match self {
            Self::V311(client) => client.try_disconnect().map_err(|_| NotTaken),
            Self::V5(client) => client.try_disconnect().map_err(|_| NotTaken),
        }
    }
}

impl Connection {
    /// Waits for the next thing to happen, connecting first where needed. After an error call
    /// [`Self::discard`] before polling again. Not to be cancelled other than for good.
    pub(super) async fn poll(&mut self) -> Result<Arrival, Fault> {
        if !self.connected {
            let arrival = self.driver.poll().await?;
            self.connected = matches!(arrival, Arrival::Connected { .. });
            return Ok(arrival);
        }
        match tokio::time::timeout(self.patience, self.driver.poll()).await {
            Ok(outcome) => outcome,
            Err(_elapsed) => Err(Fault::NoAnswer),
        }
    }

    /// Nothing is left of the last read: the next poll waits for the network.
    pub(super) fn is_drained(&self) -> bool {
        match &self.driver {
            Driver::V311(driver) => driver.state.events.is_empty(),
            Driver::V5(driver) => driver.state.events.is_empty(),
        }
    }

    /// Drops the connection and everything that belonged to it, requests included.
    pub(super) fn discard(&mut self) {
        self.connected = false;
        match &mut self.driver {
            Driver::V311(driver) => {
                driver.clean();
                driver.pending.clear();
                driver.state.events.clear();
            }
            Driver::V5(driver) => {
                driver.clean();
                driver.pending.clear();
                driver.state.events.clear();
            }
        }
    }
}

impl Driver {
    async fn poll(&mut self) -> Result<Arrival, Fault> {
        match self {
            Self::V311(driver) => driver.poll().await.map(v311::arrival).map_err(v311::fault),
            Self::V5(driver) => driver.poll().await.map(v5::arrival).map_err(v5::fault),
        }
    }
}
