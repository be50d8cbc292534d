//! `[mqtt]`: the broker that the readings come from.

use std::fmt;
use std::net::{IpAddr, Ipv6Addr};
use std::path::PathBuf;
use std::str::FromStr;

use serde::Deserialize;

use super::conflict::Conflict;
use super::load::none_if_empty;
use super::{Kind, Secret, Section, Setting};

/// The broker that the readings come from.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Mqtt {
    /// Broker to subscribe to; none means the embedded one.
    #[serde(deserialize_with = "none_if_empty")]
    pub broker: Option<BrokerAddress>,
    /// Name of our session at the broker; it must stay the same, or the broker's queue is left behind.
    pub client_id: String,
    /// User name.
    #[serde(deserialize_with = "none_if_empty")]
    pub user: Option<String>,
    /// Password of `user`.
    #[serde(deserialize_with = "none_if_empty")]
    pub password: Option<Secret>,
    /// Certificate authority of the broker, PEM; none means the system's own list.
    #[serde(deserialize_with = "none_if_empty")]
    pub ca_file: Option<PathBuf>,
    /// Certificate that we show to the broker, PEM.
    #[serde(deserialize_with = "none_if_empty")]
    pub client_cert_file: Option<PathBuf>,
    /// Private key of that certificate, PEM.
    #[serde(deserialize_with = "none_if_empty")]
    pub client_key_file: Option<PathBuf>,
    /// Version of the protocol.
    pub protocol: Protocol,
    /// First segments of every default topic.
    pub prefix: String,
    /// Topic of our own retained status and last will.
    pub status_topic: String,
    /// Seconds between signs of life.
    pub keep_alive_s: u16,
    /// Most messages committed together.
    pub batch: u16,
    /// Most messages held without acknowledgement.
    pub inflight: u16,
}

/// Version of the MQTT protocol.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
pub enum Protocol {
    /// MQTT 3.1.1.
    #[serde(rename = "3.1.1")]
    V311,
    /// MQTT 5.
    #[serde(rename = "5")]
    V5,
}

/// Where a broker is, and whether to speak TLS with it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BrokerAddress {
    /// `mqtts://` rather than `mqtt://`.
    pub tls: bool,
    /// Host name or IP address, without brackets.
    pub host: String,
    /// TCP port; by default 1883, with TLS 8883 (both registered with IANA).
    pub port: u16,
}

impl BrokerAddress {
    /// Whether nothing leaves this machine on the way there.
    pub fn is_on_this_machine(&self) -> bool {
        self.host == "localhost" || self.host.parse::<IpAddr>().is_ok_and(|address| address.is_loopback())
    }
}

impl FromStr for BrokerAddress {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let (tls, rest) = match text.split_once("://") {
            Some(("mqtt", rest)) => (false, rest),
            Some(("mqtts", rest)) => (true, rest),
            _ => return Err("it does not begin with mqtt:// or mqtts://".to_owned()),
        };
        if rest.contains('@') {
            return Err("user name and password do not belong in the address".to_owned());
        }
        let rest = rest.strip_suffix('/').unwrap_or(rest);
        let (host, port) = split_port(rest).ok_or("the brackets of an IPv6 address do not match")?;
        if host.is_empty() || host.contains(|c: char| c.is_whitespace() || matches!(c, '/' | '?' | '#')) {
            return Err("there is no host name in it".to_owned());
        }
        if tls && host.parse::<Ipv6Addr>().is_ok() {
            return Err("TLS needs a host name or an IPv4 address".to_owned()); // the client library takes no other
        }
        let port = match port {
            None => {
                if tls {
                    8883
                } else {
                    1883
                }
            }
            Some(digits) => match digits.parse() {
                Ok(0) | Err(_) => return Err(format!("\"{digits}\" is no port")),
                Ok(port) => port,
            },
        };
        Ok(Self { tls, host: host.to_owned(), port })
    }
}

/// Splits `host`, `host:port`, `[v6]` or `[v6]:port`.
fn split_port(text: &str) -> Option<(&str, Option<&str>)> {
    if let Some(inner) = text.strip_prefix('[') {
        let (host, after) = inner.split_once(']')?;
        return match after.strip_prefix(':') {
            Some(port) => Some((host, Some(port))),
            None => after.is_empty().then_some((host, None)),
        };
    }
    match text.rsplit_once(':') {
        Some((host, _)) if host.contains(':') => None,
        Some((host, port)) => Some((host, Some(port))),
        None => Some((text, None)),
    }
}

impl fmt::Display for BrokerAddress {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let scheme = if self.tls { "mqtts" } else { "mqtt" };
        if self.host.contains(':') {
            write!(f, "{scheme}://[{}]:{}", self.host, self.port)
        } else {
            write!(f, "{scheme}://{}:{}", self.host, self.port)
        }
    }
}

pub(super) const SECTION: Section = Section {
    name: "mqtt",
    meaning: "The broker that the readings come from",
    settings: &[
        Setting {
            key: "broker",
            kind: Kind::Broker,
            default: "",
            meaning: "Address of your broker; empty starts the embedded one",
        },
        Setting {
            key: "client_id",
            kind: Kind::Text,
            default: "basinward",
            meaning: "Name of our session at the broker; one daemon each, and keep it: the broker queues under it",
        },
        Setting { key: "user", kind: Kind::Text, default: "", meaning: "User name at the broker" },
        Setting {
            key: "password",
            kind: Kind::Secret,
            default: "",
            meaning: "Password at the broker; `password_file` names a file to read it from instead",
        },
        Setting {
            key: "ca_file",
            kind: Kind::File,
            default: "",
            meaning: "Certificates (PEM) to trust for mqtts://; empty trusts what this machine trusts",
        },
        Setting {
            key: "client_cert_file",
            kind: Kind::File,
            default: "",
            meaning: "Our own certificate (PEM), where the broker asks for one",
        },
        Setting {
            key: "client_key_file",
            kind: Kind::File,
            default: "",
            meaning: "Private key (PEM) of our own certificate",
        },
        Setting {
            key: "protocol",
            kind: Kind::OneOf(&["3.1.1", "5"]),
            default: "3.1.1",
            meaning: "Version of MQTT to speak",
        },
        Setting {
            key: "prefix",
            kind: Kind::Topic,
            default: "greywater",
            meaning: "First part of every default topic: <prefix>/<system>/<basin>/<quantity>",
        },
        Setting {
            key: "status_topic",
            kind: Kind::Topic,
            default: "basinward/status",
            meaning: "Topic of our own retained status (online, offline); it lies outside the prefix",
        },
        Setting {
            key: "keep_alive_s",
            kind: Kind::Whole { min: 10, max: 3_600, unit: "seconds" },
            default: "60",
            meaning: "Time between signs of life; the broker gives us up after one and a half times this",
        },
        Setting {
            key: "batch",
            kind: Kind::Whole { min: 1, max: 10_000, unit: "messages" },
            default: "1000",
            meaning: "Most messages to commit together; the broker must allow as many unacknowledged",
        },
        Setting {
            key: "inflight",
            kind: Kind::Whole { min: 1, max: 65_535, unit: "messages" },
            default: "2000",
            meaning: "Most messages to hold without acknowledgement; at least `batch`",
        },
    ],
};

impl Mqtt {
    pub(super) fn conflicts(&self) -> Vec<Conflict> {
        let mut found = Vec::new();
        if self.inflight < self.batch {
            found.push(Conflict {
                between: &["mqtt.inflight", "mqtt.batch"],
                what: format!("`inflight` ({}) is less than `batch` ({})", self.inflight, self.batch),
                how: format!("write at least {}, or lower `batch`", self.batch),
            });
        }
        if self.password.is_some() && self.user.is_none() {
            found.push(Conflict {
                between: &["mqtt.password", "mqtt.user"],
                what: "`password` is set without `user`".to_owned(),
                how: "set `user` too".to_owned(),
            });
        }
        if self.status_topic == self.prefix || self.status_topic.starts_with(&format!("{}/", self.prefix)) {
            found.push(Conflict {
                between: &["mqtt.status_topic", "mqtt.prefix"],
                what: format!(
                    "`status_topic` \"{}\" lies under the prefix of the sensors",
                    self.status_topic
                ),
                how: format!("write a topic outside \"{}/\"", self.prefix),
            });
        }
        found.extend(self.certificate_conflicts());
        found
    }

    fn certificate_conflicts(&self) -> Vec<Conflict> {
        let mut found = Vec::new();
        if self.client_cert_file.is_some() != self.client_key_file.is_some() {
            found.push(Conflict {
                between: &["mqtt.client_cert_file", "mqtt.client_key_file"],
                what: "only one of `client_cert_file` and `client_key_file` is set".to_owned(),
                how: "set both, or neither".to_owned(),
            });
        }
        let certificates = self.ca_file.is_some() || self.client_cert_file.is_some();
        if certificates && self.broker.as_ref().is_none_or(|broker| !broker.tls) {
            found.push(Conflict {
                between: &["mqtt.ca_file", "mqtt.client_cert_file", "mqtt.broker"],
                what: "certificates are named, but `broker` does not use TLS".to_owned(),
                how: "write the broker as \"mqtts://host:8883\", or leave the certificates out".to_owned(),
            });
        }
        found
    }
}

#[cfg(test)]
mod tests {
    use super::BrokerAddress;

    fn read(text: &str) -> Result<String, String> {
        text.parse::<BrokerAddress>().map(|address| address.to_string())
    }

    #[test]
    fn ports_default_to_the_registered_ones() {
        // IANA Service Name and Transport Protocol Port Number Registry: mqtt 1883, secure-mqtt 8883.
        assert_eq!(read("mqtt://yard.example"), Ok("mqtt://yard.example:1883".into()));
        assert_eq!(read("mqtts://yard.example/"), Ok("mqtts://yard.example:8883".into()));
    }

    #[test]
    fn ipv6_stands_in_brackets() {
        assert_eq!(read("mqtt://[::1]:2000"), Ok("mqtt://[::1]:2000".into()));
        assert_eq!(read("mqtt://[fe80::1]"), Ok("mqtt://[fe80::1]:1883".into()));
        assert!(read("mqtts://[fe80::1]").is_err());
        assert!(read("mqtt://::1").is_err());
        assert!(read("mqtt://[::1").is_err());
    }

    #[test]
    fn what_is_no_address_is_refused() {
        for text in [
            "yard.example",
            "http://yard",
            "mqtt://",
            "mqtt://:1883",
            "mqtt://a:0",
            "mqtt://a:70000",
            "mqtt://me:secret@a",
            "mqtt://a/path",
        ] {
            assert!(read(text).is_err(), "{text}");
        }
    }
}
