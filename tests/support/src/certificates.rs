//! An authority and what it signs, made with the `openssl` command.

use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

/// A test authority with a server certificate for `localhost` and a client certificate.
#[derive(Debug)]
pub struct Certificates {
    folder: PathBuf,
}

impl Certificates {
    /// Makes them in `folder`.
    ///
    /// # Panics
    /// When `openssl` is not installed or refuses.
    pub fn make(folder: &Path) -> Self {
        let made = Self { folder: folder.to_path_buf() };
        made.openssl(
            "req -x509 -newkey ec -pkeyopt ec_paramgen_curve:prime256v1 -nodes -days 2 \
             -subj /CN=test-authority -keyout ca.key -out ca.pem -addext basicConstraints=critical,CA:TRUE",
        );
        made.signed("server", "localhost", "subjectAltName=DNS:localhost,IP:127.0.0.1");
        made.signed("client", "yard", "extendedKeyUsage=clientAuth");
        made
    }

    fn signed(&self, name: &str, common_name: &str, extension: &str) {
        std::fs::write(self.path("extension"), extension).expect("writes");
        self.openssl(&format!(
            "req -newkey ec -pkeyopt ec_paramgen_curve:prime256v1 -nodes -subj /CN={common_name} \
             -keyout {name}.key -out {name}.csr"
        ));
        self.openssl(&format!(
            "x509 -req -in {name}.csr -CA ca.pem -CAkey ca.key -CAcreateserial -days 2 \
             -extfile extension -out {name}.pem"
        ));
    }

    fn openssl(&self, arguments: &str) {
        let done = Command::new("openssl")
            .args(arguments.split_whitespace())
            .current_dir(&self.folder)
            .stderr(Stdio::null())
            .status();
        assert!(done.is_ok_and(|status| status.success()), "openssl {arguments}");
    }

    /// One of `ca.pem`, `server.pem`, `server.key`, `client.pem`, `client.key`.
    pub fn path(&self, name: &str) -> PathBuf {
        self.folder.join(name)
    }
}
