//! Builds the TLS client configuration from files.

use std::path::Path;
use std::sync::Arc;

use rustls::pki_types::pem::PemObject as _;
use rustls::pki_types::{CertificateDer, PrivateKeyDer};
use rustls::{ClientConfig, RootCertStore};

use super::settings::{SetupError, TlsFiles};

/// A configuration that trusts the given CA file, or else the system's roots.
pub(super) fn client_config(files: &TlsFiles) -> Result<Arc<ClientConfig>, SetupError> {
    let provider = Arc::new(rustls::crypto::ring::default_provider());
    let builder = ClientConfig::builder_with_provider(provider)
        .with_safe_default_protocol_versions()?
        .with_root_certificates(roots(files.ca_file.as_deref())?);
    let config = match (&files.client_cert, &files.client_key) {
        (None, None) => builder.with_no_client_auth(),
        (Some(cert), Some(key)) => builder.with_client_auth_cert(certificates(cert)?, private_key(key)?)?,
        (Some(_), None) | (None, Some(_)) => return Err(SetupError::HalfIdentity),
    };
    Ok(Arc::new(config))
}

fn roots(ca_file: Option<&Path>) -> Result<RootCertStore, SetupError> {
    let mut store = RootCertStore::empty();
    if let Some(path) = ca_file {
        for certificate in certificates(path)? {
            store.add(certificate)?;
        }
    } else {
        // Single broken roots are common on real machines; only none at all is fatal.
        store.add_parsable_certificates(rustls_native_certs::load_native_certs().certs);
        if store.is_empty() {
            return Err(SetupError::NoRoots);
        }
    }
    Ok(store)
}

fn certificates(path: &Path) -> Result<Vec<CertificateDer<'static>>, SetupError> {
    let what = "certificate";
    let unusable = |source| SetupError::Pem { what, path: path.to_path_buf(), source };
    let found = CertificateDer::pem_file_iter(path)
        .map_err(unusable)?
        .collect::<Result<Vec<_>, _>>()
        .map_err(unusable)?;
    if found.is_empty() {
        return Err(SetupError::Empty { what, path: path.to_path_buf() });
    }
    Ok(found)
}

fn private_key(path: &Path) -> Result<PrivateKeyDer<'static>, SetupError> {
    PrivateKeyDer::from_pem_file(path).map_err(|source| SetupError::Pem {
        what: "private key",
        path: path.to_path_buf(),
        source,
    })
}
