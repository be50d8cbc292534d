//! Where messages come from: a broker of one's own, or the embedded one.

use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;

use crate::clock::Clock;
use crate::link::{
    Acker, EmbeddedBroker, EmbeddedError, EmbeddedSettings, Health, Inbox, Link, LinkSettings, Login,
    Protocol, Publisher, SetupError, TlsFiles,
};
use crate::model::System;
use crate::settings::{self, BrokerAddress, Settings};

/// Why no messages can come in.
#[derive(Debug, thiserror::Error)]
pub enum FeedFault {
    /// The settings of the connection cannot work.
    #[error("cannot connect to the broker")]
    Link(#[from] SetupError),
    /// The embedded broker does not start.
    #[error("cannot start the embedded broker")]
    Embedded(#[from] EmbeddedError),
}

/// The source of messages.
pub(super) enum Feed {
    Link(Link),
    Embedded(EmbeddedBroker),
}

impl Feed {
    /// Starts listening for what `systems` send.
    pub(super) async fn start(
        settings: &Settings,
        systems: &[Arc<System>],
        clock: &Clock,
    ) -> Result<(Self, Inbox, Acker), FeedFault> {
        let filters = filters(systems, &settings.mqtt.prefix);
        if let Some(broker) = &settings.mqtt.broker {
            let (link, inbox, acker) =
                Link::start(&link_settings(&settings.mqtt, broker, filters), clock.clone())?;
            return Ok((Self::Link(link), inbox, acker));
        }
        let embedded = EmbeddedSettings {
            listen: settings.embedded_broker.listen,
            password_file: settings.embedded_broker.passwords_file.clone(),
            filters,
            ..EmbeddedSettings::loopback(0)
        };
        let (broker, inbox, acker) = EmbeddedBroker::start(&embedded, clock.clone()).await?;
        Ok((Self::Embedded(broker), inbox, acker))
    }

    /// Where the embedded broker listens.
    pub(super) fn embedded_address(&self) -> Option<SocketAddr> {
        match self {
            Self::Link(_) => None,
            Self::Embedded(broker) => Some(broker.address()),
        }
    }

    /// Where we say something.
    pub(super) fn publisher(&self) -> Publisher {
        match self {
            Self::Link(link) => link.publisher(),
            Self::Embedded(broker) => broker.publisher(),
        }
    }

    pub(super) fn health(&self) -> Health {
        match self {
            Self::Link(link) => link.health(),
            Self::Embedded(broker) => broker.health(),
        }
    }

    /// Listens for what `systems` send from now on.
    pub(super) fn listen_to(&self, systems: &[Arc<System>], prefix: &str) -> Result<(), SetupError> {
        let filters = filters(systems, prefix);
        match self {
            Self::Link(link) => link.listen_to(filters),
            Self::Embedded(broker) => broker.listen_to(filters),
        }
    }

    /// What people may connect to, for the log.
    pub(super) fn describe(&self, settings: &Settings) -> String {
        match (self, &settings.mqtt.broker) {
            (Self::Embedded(broker), _) => format!("embedded, listening on {}", broker.address()),
            (Self::Link(_), Some(address)) => address.to_string(),
            (Self::Link(_), None) => String::new(),
        }
    }

    /// Where sensors publish.
    pub(super) fn address(&self, settings: &Settings) -> String {
        match (self, &settings.mqtt.broker) {
            (Self::Link(_), Some(address)) => address.to_string(),
            (Self::Embedded(broker), _) if !broker.address().ip().is_unspecified() => {
                format!("mqtt://{}", broker.address())
            }
            (Self::Embedded(broker), _) => {
                format!("this machine by MQTT, port {}", broker.address().port())
            }
            (Self::Link(_), None) => String::new(),
        }
    }

    /// Takes nothing more; what was taken can still be acknowledged.
    pub(super) fn stop_taking(&self) {
        match self {
            Self::Link(link) => link.stop_taking(),
            Self::Embedded(broker) => broker.stop_taking(),
        }
    }

    /// Says farewell.
    pub(super) async fn end(self) {
        match self {
            Self::Link(link) => link.disconnect().await,
            Self::Embedded(broker) => broker.stop().await,
        }
    }
}

/// The prefix's topics, and those that system files name outside it.
pub(crate) fn filters(systems: &[Arc<System>], prefix: &str) -> Vec<String> {
    let inside = format!("{prefix}/");
    let topics = systems.iter().flat_map(|system| &system.sensors).filter_map(|s| s.wiring.topic.clone());
    let mut foreign: Vec<_> = topics.filter(|topic| !topic.starts_with(&inside)).collect();
    foreign.sort();
    foreign.dedup();
    foreign.insert(0, format!("{prefix}/#"));
    foreign
}

/// The link's settings, from the daemon's.
pub(crate) fn link_settings(
    mqtt: &settings::Mqtt,
    broker: &BrokerAddress,
    filters: Vec<String>,
) -> LinkSettings {
    let login = mqtt.user.as_ref().map(|user| Login {
        user: user.clone(),
        password: mqtt.password.as_ref().map(|secret| secret.expose().to_owned()).unwrap_or_default(),
    });
    let tls = broker.tls.then(|| TlsFiles {
        ca_file: mqtt.ca_file.clone(),
        client_cert: mqtt.client_cert_file.clone(),
        client_key: mqtt.client_key_file.clone(),
    });
    LinkSettings {
        tls,
        login,
        filters,
        protocol: match mqtt.protocol {
            settings::Protocol::V311 => Protocol::V311,
            settings::Protocol::V5 => Protocol::V5,
        },
        keep_alive_s: mqtt.keep_alive_s,
        inflight: mqtt.inflight,
        status_topic: Some(mqtt.status_topic.clone()).filter(|topic| !topic.is_empty()),
        first_pause: Duration::from_millis(500),
        ..LinkSettings::new(broker.host.clone(), broker.port, mqtt.client_id.clone())
    }
}
