//! Pages over TLS, with a certificate from files.

use std::io;
use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use rustls::ServerConfig;
use rustls::pki_types::pem::PemObject as _;
use rustls::pki_types::{CertificateDer, PrivateKeyDer};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::{mpsc, watch};
use tokio_rustls::TlsAcceptor;
use tokio_rustls::server::TlsStream;
use tracing::{debug, warn};

/// Longest that a handshake may take.
const HANDSHAKE: Duration = Duration::from_secs(10);
/// Handshakes that may be finished before the server takes their connections.
const READY: usize = 64;
/// Handshakes under way at once; further connections wait in the system's queue.
const UNDER_WAY: usize = 256;
/// Pause after the system has no sockets left.
const SHORTAGE: Duration = Duration::from_secs(1);

/// The certificate of the pages, and its key.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Identity {
    /// Certificate and those that vouch for it, PEM.
    pub certificate_file: PathBuf,
    /// Private key, PEM.
    pub key_file: PathBuf,
}

/// Why pages cannot be served over TLS.
#[derive(Debug, thiserror::Error)]
pub enum TlsFault {
    /// A file holds no certificate or key.
    #[error("cannot read a certificate or key from {}", path.display())]
    Pem {
        /// The file.
        path: PathBuf,
        /// Why not.
        source: rustls::pki_types::pem::Error,
    },
    /// Certificate and key do not work together.
    #[error("the certificate and the key cannot be used together")]
    Unusable(#[from] rustls::Error),
}

/// Connections whose handshake is done.
#[derive(Debug)]
pub(super) struct TlsListener {
    address: SocketAddr,
    ready: mpsc::Receiver<(TlsStream<TcpStream>, SocketAddr)>,
}

impl Identity {
    /// Reads the files.
    ///
    /// # Errors
    /// They cannot be used.
    pub fn config(&self) -> Result<Arc<ServerConfig>, TlsFault> {
        let provider = Arc::new(rustls::crypto::ring::default_provider());
        let mut config = ServerConfig::builder_with_provider(provider)
            .with_safe_default_protocol_versions()?
            .with_no_client_auth()
            .with_single_cert(certificates(&self.certificate_file)?, key(&self.key_file)?)?;
        config.alpn_protocols = vec![b"http/1.1".to_vec()];
        Ok(Arc::new(config))
    }
}

fn certificates(path: &Path) -> Result<Vec<CertificateDer<'static>>, TlsFault> {
    let fault = |source| TlsFault::Pem { path: path.to_owned(), source };
    CertificateDer::pem_file_iter(path).map_err(fault)?.collect::<Result<_, _>>().map_err(fault)
}

fn key(path: &Path) -> Result<PrivateKeyDer<'static>, TlsFault> {
    PrivateKeyDer::from_pem_file(path).map_err(|source| TlsFault::Pem { path: path.to_owned(), source })
}

impl TlsListener {
    /// Takes connections from `listener`, each with the `config` of its time; a slow handshake holds nobody else up.
    pub(super) fn new(listener: TcpListener, config: watch::Receiver<Arc<ServerConfig>>) -> io::Result<Self> {
        let address = listener.local_addr()?;
        let (done, ready) = mpsc::channel(READY);
        tokio::spawn(shake_hands(listener, config, done));
        Ok(Self { address, ready })
    }
}

async fn shake_hands(
    listener: TcpListener,
    config: watch::Receiver<Arc<ServerConfig>>,
    done: mpsc::Sender<(TlsStream<TcpStream>, SocketAddr)>,
) {
    let under_way = Arc::new(tokio::sync::Semaphore::new(UNDER_WAY));
    loop {
        let place = Arc::clone(&under_way).acquire_owned().await.expect("it is never closed");
        let accepted = tokio::select! {
            accepted = listener.accept() => accepted,
            () = done.closed() => return,
        };
        let (stream, from) = match accepted {
            Ok(accepted) => accepted,
            Err(error) => {
                warn!(%error, "cannot take a connection to the pages");
                tokio::time::sleep(SHORTAGE).await;
                continue;
            }
        };
        let acceptor = TlsAcceptor::from(Arc::clone(&config.borrow()));
        let done = done.clone();
        tokio::spawn(async move {
            match tokio::time::timeout(HANDSHAKE, acceptor.accept(stream)).await {
                // The server may have ended meanwhile.
                Ok(Ok(stream)) => drop(done.send((stream, from)).await),
                Ok(Err(error)) => debug!(%from, %error, "no TLS with a browser"),
                Err(_) => debug!(%from, "a TLS handshake took too long"),
            }
            drop(place);
        });
    }
}

impl axum::serve::Listener for TlsListener {
    type Io = TlsStream<TcpStream>;
    type Addr = SocketAddr;

    async fn accept(&mut self) -> (Self::Io, Self::Addr) {
        match self.ready.recv().await {
            Some(connection) => connection,
            None => std::future::pending().await,
        }
    }

    fn local_addr(&self) -> io::Result<Self::Addr> {
        Ok(self.address)
    }
}
