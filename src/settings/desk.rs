//! `[desk]`: the pages and the HTTP interface.

use std::net::SocketAddr;

use serde::Deserialize;

use super::{Kind, Section, Setting};

/// The pages and the HTTP interface.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Desk {
    /// Address to serve the pages at.
    pub listen: SocketAddr,
}

pub(super) const SECTION: Section = Section {
    name: "desk",
    meaning: "The pages that people look at, and the HTTP interface",
    settings: &[Setting {
        key: "listen",
        kind: Kind::Listen,
        default: "127.0.0.1:8480",
        meaning: "Address to serve the pages at; beyond this machine, put a proxy with sign-in and TLS before it",
    }],
};
