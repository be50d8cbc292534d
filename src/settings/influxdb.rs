//! `[influxdb]`: the time-series server that everything is passed on to.

use std::fmt;
use std::net::IpAddr;
use std::path::PathBuf;
use std::str::FromStr;

use serde::Deserialize;

use super::conflict::Conflict;
use super::load::none_if_empty;
use super::{Kind, Secret, Section, Setting};

/// The time-series server that everything is passed on to: InfluxDB 2, or what speaks its write interface.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Influxdb {
    /// The server; none means that nothing is passed on.
    #[serde(deserialize_with = "none_if_empty")]
    pub url: Option<ServerAddress>,
    /// Organisation that owns the bucket.
    pub org: String,
    /// Bucket to write to.
    pub bucket: String,
    /// Token that may write to the bucket.
    #[serde(deserialize_with = "none_if_empty")]
    pub token: Option<Secret>,
    /// Certificate authority of the server, PEM; none means the system's own list.
    #[serde(deserialize_with = "none_if_empty")]
    pub ca_file: Option<PathBuf>,
}

/// Where an HTTP server is: scheme, host and port, nothing after them.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ServerAddress {
    /// `https://` rather than `http://`.
    pub tls: bool,
    /// Host with its port if one was given, as written.
    host: String,
}

impl ServerAddress {
    /// Whether nothing leaves this machine on the way there.
    pub fn is_on_this_machine(&self) -> bool {
        let name = match self.host.strip_prefix('[') {
            Some(rest) => rest.split(']').next().unwrap_or_default(),
            None => self.host.split(':').next().unwrap_or_default(),
        };
        name == "localhost" || name.parse::<IpAddr>().is_ok_and(|address| address.is_loopback())
    }
}

impl FromStr for ServerAddress {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let (tls, rest) = match text.split_once("://") {
            Some(("http", rest)) => (false, rest),
            Some(("https", rest)) => (true, rest),
            _ => return Err("it does not begin with http:// or https://".to_owned()),
        };
        if rest.contains('@') {
            return Err("user name and password do not belong in the address".to_owned());
        }
        let host = rest.strip_suffix('/').unwrap_or(rest);
        if host.contains(['/', '?', '#']) {
            // The client library would leave it out without a word.
            return Err("there is a path after the host".to_owned());
        }
        let known = format!("http://{host}/").parse::<reqwest::Url>();
        if host.is_empty() || !known.is_ok_and(|url| url.has_host()) {
            return Err("there is no host name in it, or its port is no number".to_owned());
        }
        Ok(Self { tls, host: host.to_owned() })
    }
}

impl fmt::Display for ServerAddress {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}://{}", if self.tls { "https" } else { "http" }, self.host)
    }
}

pub(super) const SECTION: Section = Section {
    name: "influxdb",
    meaning: "The time-series server (InfluxDB 2) that everything is passed on to; deploy/influxdb.md says in which form",
    settings: &[
        Setting {
            key: "url",
            kind: Kind::Server,
            default: "",
            meaning: "Address of the server; empty passes nothing on",
        },
        Setting { key: "org", kind: Kind::Text, default: "", meaning: "Organisation that owns the bucket" },
        Setting {
            key: "bucket",
            kind: Kind::Text,
            default: "",
            meaning: "Bucket to write to; it must exist",
        },
        Setting {
            key: "token",
            kind: Kind::Secret,
            default: "",
            meaning: "Token that may write to the bucket; `token_file` names a file to read it from instead",
        },
        Setting {
            key: "ca_file",
            kind: Kind::File,
            default: "",
            meaning: "Certificates (PEM) to trust for https://; empty trusts what this machine trusts",
        },
    ],
};

impl Influxdb {
    pub(super) fn conflicts(&self) -> Vec<Conflict> {
        let mut found = Vec::new();
        if self.url.is_some() && (self.org.is_empty() || self.bucket.is_empty()) {
            found.push(Conflict {
                between: &["influxdb.url", "influxdb.org", "influxdb.bucket"],
                what: "`url` is set without `org` and `bucket`".to_owned(),
                how: "set all three, or leave `url` empty".to_owned(),
            });
        }
        if self.ca_file.is_some() && self.url.as_ref().is_none_or(|url| !url.tls) {
            found.push(Conflict {
                between: &["influxdb.ca_file", "influxdb.url"],
                what: "`ca_file` is set, but `url` does not use TLS".to_owned(),
                how: "write the server as \"https://host\", or leave `ca_file` out".to_owned(),
            });
        }
        found
    }
}

#[cfg(test)]
mod tests {
    use super::ServerAddress;

    #[test]
    fn an_address_keeps_its_port_and_loses_its_last_slash() {
        let read = |text: &str| text.parse::<ServerAddress>().map(|address| address.to_string());
        assert_eq!(read("http://127.0.0.1:8086/"), Ok("http://127.0.0.1:8086".into()));
        assert_eq!(read("https://[::1]:8086"), Ok("https://[::1]:8086".into()));
        for wrong in ["host:8086", "ftp://host", "http://", "http://a b", "http://me:it@a", "http://a/influx"]
        {
            assert!(read(wrong).is_err(), "{wrong}");
        }
    }

    #[test]
    fn only_loopback_is_this_machine() {
        let near = |text: &str| text.parse::<ServerAddress>().expect("an address").is_on_this_machine();
        assert!(near("http://localhost:8086") && near("http://127.0.0.1") && near("http://[::1]:8086"));
        assert!(!near("http://10.0.0.7:8086") && !near("https://influx.example"));
    }
}
