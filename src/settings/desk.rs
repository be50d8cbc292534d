//! `[desk]`: the pages and the HTTP interface.

use std::net::SocketAddr;
use std::path::PathBuf;

use serde::Deserialize;

use super::conflict::Conflict;
use super::load::none_if_empty;
use super::{Kind, Section, Setting};

/// The pages and the HTTP interface.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Desk {
    /// Address to serve the pages at.
    pub listen: SocketAddr,
    /// Certificate of the pages with its chain, PEM; none means plain HTTP.
    #[serde(deserialize_with = "none_if_empty")]
    pub certificate_file: Option<PathBuf>,
    /// Private key of that certificate, PEM.
    #[serde(deserialize_with = "none_if_empty")]
    pub key_file: Option<PathBuf>,
}

pub(super) const SECTION: Section = Section {
    name: "desk",
    meaning: "The pages that people look at, and the HTTP interface",
    settings: &[
        Setting {
            key: "listen",
            kind: Kind::Listen,
            default: "127.0.0.1:8480",
            meaning: "Address to serve the pages at; beyond this machine, with certificate and key or behind a proxy with TLS",
        },
        Setting {
            key: "certificate_file",
            kind: Kind::File,
            default: "",
            meaning: "Certificate of the pages with its chain, PEM; empty means plain HTTP",
        },
        Setting {
            key: "key_file",
            kind: Kind::File,
            default: "",
            meaning: "Private key of that certificate, PEM",
        },
    ],
};

impl Desk {
    pub(super) fn conflicts(&self) -> Vec<Conflict> {
        if self.certificate_file.is_some() == self.key_file.is_some() {
            return Vec::new();
        }
        vec![Conflict {
            between: &["desk.certificate_file", "desk.key_file"],
            what: "the pages have a certificate without its key, or a key without its certificate".to_owned(),
            how: "name both `certificate_file` and `key_file`, or neither".to_owned(),
        }]
    }
}
