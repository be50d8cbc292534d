//! What the link must be told before it can connect.

use std::path::PathBuf;
use std::time::Duration;

/// The MQTT protocol version to speak.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum Protocol {
    /// MQTT 3.1.1.
    #[default]
    V311,
    /// MQTT 5.
    V5,
}

/// A user name and its password.
#[derive(Clone, PartialEq, Eq)]
pub struct Login {
    /// User name as the broker knows it.
    pub user: String,
    /// Password; never logged.
    pub password: String,
}

impl std::fmt::Debug for Login {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Login").field("user", &self.user).finish_non_exhaustive()
    }
}

/// The files that TLS works with. All empty: the system's own roots, no client certificate.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct TlsFiles {
    /// Certificates (PEM) to trust in place of the system's roots.
    pub ca_file: Option<PathBuf>,
    /// Our own certificate chain (PEM), for brokers that ask for one.
    pub client_cert: Option<PathBuf>,
    /// The private key (PEM) of `client_cert`.
    pub client_key: Option<PathBuf>,
}

/// Where the broker is, who we are to it, and how much we let it hand us at once.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LinkSettings {
    /// Host name or address of the broker.
    pub host: String,
    /// TCP port; 1883 in the clear and 8883 with TLS by custom.
    pub port: u16,
    /// Speak TLS, with these files.
    pub tls: Option<TlsFiles>,
    /// User name and password, where the broker wants them.
    pub login: Option<Login>,
    /// Protocol version.
    pub protocol: Protocol,
    /// Our name at the broker. It identifies the stored session: keep it the same across restarts,
    /// and never let two daemons share it.
    pub client_id: String,
    /// Topic filters to subscribe to, for example `greywater/#`.
    pub filters: Vec<String>,
    /// Seconds between pings; 60 suits most networks. At least 5.
    pub keep_alive_s: u16,
    /// Seconds to wait for the broker while connecting.
    pub connect_timeout_s: u16,
    /// Seconds an MQTT 5 broker keeps our session while we are away. A 3.1.1 broker decides itself.
    pub session_expiry_s: u32,
    /// Messages that the broker should have on their way to us unacknowledged, at most. MQTT 5 asks
    /// for it; a 3.1.1 broker has a setting of its own, which should be at least one batch of the
    /// writer. Mosquitto exceeds either by far when acknowledgements come in batches.
    pub inflight: u16,
    /// Most messages that may wait for the writer. QoS 0 messages are shed at half of it; at the whole
    /// of it we stop reading until half is worked off, and the broker keeps the rest.
    pub max_waiting: usize,
    /// The same bound in bytes of topics and payloads.
    pub max_waiting_bytes: usize,
    /// Largest packet to take, in bytes; larger ones are skipped and counted.
    pub max_packet_bytes: u32,
    /// Topic of our own retained status, `None` for no status. Keep it outside `filters`.
    pub status_topic: Option<String>,
    /// First pause after a lost connection; each further one is twice as long.
    pub first_pause: Duration,
    /// Longest pause between two attempts.
    pub longest_pause: Duration,
}

impl LinkSettings {
    /// Settings for a broker in the clear, everything else at its default.
    pub fn new(host: impl Into<String>, port: u16, client_id: impl Into<String>) -> Self {
        Self {
            host: host.into(),
            port,
            tls: None,
            login: None,
            protocol: Protocol::default(),
            client_id: client_id.into(),
            filters: vec!["greywater/#".into()],
            keep_alive_s: 60,
            connect_timeout_s: 10,
            session_expiry_s: 7 * 24 * 3600,
            inflight: 2_000,
            max_waiting: 20_000,
            max_waiting_bytes: 32 << 20,
            max_packet_bytes: 4 << 20,
            status_topic: None,
            first_pause: Duration::from_millis(500),
            longest_pause: Duration::from_secs(30),
        }
    }

    /// Refuses settings that no broker could accept, before anything is started.
    pub(super) fn check(&self) -> Result<(), SetupError> {
        if self.client_id.is_empty() {
            return Err(SetupError::NoClientId);
        }
        check_filters(&self.filters)?;
        if let Some(topic) = self.status_topic.iter().find(|t| mqtt5::validate_topic_name(t).is_err()) {
            return Err(SetupError::StatusTopic(topic.clone()));
        }
        if self.keep_alive_s < 5 {
            return Err(SetupError::KeepAlive(self.keep_alive_s));
        }
        Ok(())
    }
}

/// Refuses filters that are none, before a broker does.
pub(super) fn check_filters(filters: &[String]) -> Result<(), SetupError> {
    if filters.is_empty() {
        return Err(SetupError::NoFilter);
    }
    match filters.iter().find(|filter| mqtt5::validate_topic_filter(filter).is_err()) {
        Some(filter) => Err(SetupError::Filter(filter.clone())),
        None => Ok(()),
    }
}

/// Settings or files that cannot work, whatever the broker says.
#[derive(Debug, thiserror::Error)]
pub enum SetupError {
    /// A stored session needs a name.
    #[error("the client id is empty: give this daemon a name of its own at the broker")]
    NoClientId,
    /// Nothing to listen to.
    #[error("no topic filter to subscribe to")]
    NoFilter,
    /// Not a topic filter.
    #[error("`{0}` is not a topic filter: `+` must fill a whole level, `#` only the last")]
    Filter(String),
    /// Not a topic.
    #[error("`{0}` is not a topic to publish on: it must not be empty nor contain `+` or `#`")]
    StatusTopic(String),
    /// Pings this close together only make noise.
    #[error("a keep-alive of {0} s is too short: use 5 s or more, 60 s for most networks")]
    KeepAlive(u16),
    /// A PEM file is missing or broken.
    #[error("cannot use {what} {}", path.display())]
    Pem {
        /// What the file should hold.
        what: &'static str,
        /// The file.
        path: PathBuf,
        /// Why not.
        source: rustls::pki_types::pem::Error,
    },
    /// A PEM file without what we look for in it.
    #[error("{} holds no {what}", path.display())]
    Empty {
        /// What was expected.
        what: &'static str,
        /// The file.
        path: PathBuf,
    },
    /// One of certificate and key without the other.
    #[error("a client certificate and its key go together: give both files or none")]
    HalfIdentity,
    /// No system roots, and no CA file either.
    #[error("this machine has no trusted root certificates: install ca-certificates or name a CA file")]
    NoRoots,
    /// Certificate and key do not fit each other, or the library refuses them.
    #[error("the TLS library refuses the certificates")]
    Tls(#[from] rustls::Error),
}
