//! The certificate of the pages, which may be renewed while the daemon runs.

use std::sync::Arc;

use rustls::ServerConfig;
use tokio::sync::watch;
use tracing::{error, info};

use crate::desk::{Identity, TlsFault};
use crate::settings;
use crate::telemetry::chain;

/// A certificate in use.
pub(super) struct Certificate {
    identity: Identity,
    config: watch::Sender<Arc<ServerConfig>>,
}

impl Certificate {
    /// The one that the settings name, if they do.
    ///
    /// # Errors
    /// Its files cannot be used.
    pub(super) fn of(settings: &settings::Desk) -> Result<Option<Self>, TlsFault> {
        let (Some(certificate_file), Some(key_file)) = (&settings.certificate_file, &settings.key_file)
        else {
            return Ok(None);
        };
        let identity = Identity { certificate_file: certificate_file.clone(), key_file: key_file.clone() };
        let config = watch::Sender::new(identity.config()?);
        Ok(Some(Self { identity, config }))
    }

    /// What new connections are to use.
    pub(super) fn newest(&self) -> watch::Receiver<Arc<ServerConfig>> {
        self.config.subscribe()
    }

    /// Reads its files again; connections that are open go on with what they began with.
    pub(super) fn read_again(&self) {
        match self.identity.config() {
            Ok(config) => {
                self.config.send_replace(config);
                info!("the pages' certificate was read again");
            }
            Err(fault) => {
                error!(fault = %chain(&fault), "the pages' certificate cannot be used; the old one stays in force");
            }
        }
    }
}
