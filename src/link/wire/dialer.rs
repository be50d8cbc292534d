//! Makes connections: TCP, TLS, greeting.

use std::io::ErrorKind;
use std::sync::Arc;
use std::time::Duration;

use bytes::BytesMut;
use rustls::ClientConfig;
use rustls::pki_types::ServerName;
use tokio::net::TcpStream;
use tokio_rustls::TlsConnector;

use super::super::health::Fault;
use super::super::settings::{LinkSettings, Protocol, SetupError};
use super::super::tls;
use super::connection::{Connection, Stream};
use super::{Arrival, Welcome, Will, v5, v311};

/// In what role a connection is made; the rest is in [`LinkSettings`].
pub(in super::super) struct Role {
    pub(in super::super) client_id: String,
    /// The broker keeps the session and its messages while we are away.
    pub(in super::super) persistent: bool,
    pub(in super::super) will: Option<Will>,
}

/// Connects to one broker in one role, as often as needed.
pub(in super::super) struct Dialer {
    settings: LinkSettings,
    tls: Option<Arc<ClientConfig>>,
    role: Role,
}

impl Dialer {
    pub(in super::super) fn new(settings: &LinkSettings, role: Role) -> Result<Self, SetupError> {
        let tls = settings.tls.as_ref().map(tls::client_config).transpose()?;
        Ok(Self { settings: settings.clone(), tls, role })
    }

    /// A new connection that the broker has welcomed.
    pub(in super::super) async fn connect(&self) -> Result<(Connection, Welcome), Fault> {
        let limit = Duration::from_secs(self.settings.connect_timeout_s.into());
        tokio::time::timeout(limit, self.greet()).await.unwrap_or(Err(Fault::NoAnswer))
    }

    async fn greet(&self) -> Result<(Connection, Welcome), Fault> {
        let stream = self.dial().await?;
        let greeting = self.greeting();
        let mut connection = Connection::new(stream, &self.settings, greeting);
        let Arrival::Welcome(welcome) = connection.next(true).await? else {
            return Err(Fault::Protocol("something else came before the broker's welcome".into()));
        };
        connection.agree(&welcome);
        Ok((connection, welcome))
    }

    async fn dial(&self) -> Result<Stream, Fault> {
        let LinkSettings { host, port, .. } = &self.settings;
        let unreachable = |error: std::io::Error| Fault::Unreachable(error.to_string());
        let tcp = TcpStream::connect((host.as_str(), *port)).await.map_err(unreachable)?;
        // Acknowledgements go out a batch at a time; there is nothing to gather by waiting.
        tcp.set_nodelay(true).map_err(unreachable)?;
        let Some(config) = &self.tls else { return Ok(Box::new(tcp)) };
        let name = ServerName::try_from(host.clone()).map_err(|error| Fault::Tls(error.to_string()))?;
        let tls = TlsConnector::from(Arc::clone(config)).connect(name, tcp).await;
        Ok(Box::new(tls.map_err(|error| tls_fault(&error))?))
    }

    fn greeting(&self) -> BytesMut {
        let mut greeting = BytesMut::new();
        match self.settings.protocol {
            Protocol::V311 => v311::connect(&self.settings, &self.role, &mut greeting),
            Protocol::V5 => v5::connect(&self.settings, &self.role, &mut greeting),
        }
        greeting
    }
}

fn tls_fault(error: &std::io::Error) -> Fault {
    if error.kind() == ErrorKind::UnexpectedEof {
        return Fault::Tls("the broker broke off; does this port speak TLS?".into());
    }
    Fault::Tls(error.to_string())
}
