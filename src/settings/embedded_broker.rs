//! `[embedded_broker]`: the broker inside the daemon, for small installations.

use std::net::SocketAddr;
use std::path::PathBuf;

use serde::Deserialize;

use super::conflict::Conflict;
use super::load::none_if_empty;
use super::{Kind, Section, Setting};

/// The broker inside the daemon; it runs only while `mqtt.broker` is empty.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct EmbeddedBroker {
    /// Address to listen at.
    pub listen: SocketAddr,
    /// File of user names and passwords; needed beyond loopback.
    #[serde(deserialize_with = "none_if_empty")]
    pub passwords_file: Option<PathBuf>,
}

pub(super) const SECTION: Section = Section {
    name: "embedded_broker",
    meaning: "The broker inside the daemon, for small installations. It runs only while mqtt.broker is empty",
    settings: &[
        Setting {
            key: "listen",
            kind: Kind::Listen,
            default: "127.0.0.1:1883",
            meaning: "Address for sensors to connect to; 127.0.0.1 means this machine only",
        },
        Setting {
            key: "passwords_file",
            kind: Kind::File,
            default: "",
            meaning: "File of user names and hashed passwords (`basinward password` makes its lines); needed beyond this machine",
        },
    ],
};

impl EmbeddedBroker {
    pub(super) fn conflicts(&self) -> Vec<Conflict> {
        if self.listen.ip().is_loopback() || self.passwords_file.is_some() {
            return Vec::new();
        }
        vec![Conflict {
            between: &["embedded_broker.listen", "embedded_broker.passwords_file", "mqtt.broker"],
            what: format!("the embedded broker listens at {} without passwords", self.listen),
            how: "name a `passwords_file` (`basinward password` makes its lines), or listen at 127.0.0.1"
                .to_owned(),
        }]
    }
}
