//! Short texts that only this daemon can have written.

use std::fmt;
use std::fs::{self, OpenOptions};
use std::io::{self, Read, Write};
use std::os::unix::fs::OpenOptionsExt;
use std::path::Path;

use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use ring::hmac::{self, HMAC_SHA256, Key};

use super::token::{NoChance, random};

/// Signs and recognises texts, by HMAC-SHA-256 (RFC 2104).
#[derive(Clone)]
pub struct Seal(Key);

impl Seal {
    /// The seal whose key lies in `file`; a new key is put there if there is none.
    ///
    /// # Errors
    /// The file cannot be read or written, or the system has no random numbers.
    pub fn kept_in(file: &Path) -> io::Result<Self> {
        let mut key = [0; 32];
        if let Ok(mut kept) = fs::File::open(file) {
            kept.read_exact(&mut key)?;
        } else {
            key = random().map_err(io::Error::other)?;
            let beside = file.with_extension("new");
            let mut new =
                OpenOptions::new().write(true).create(true).truncate(true).mode(0o600).open(&beside)?;
            new.write_all(&key)?;
            new.sync_all()?;
            fs::rename(&beside, file)?;
        }
        Ok(Self(Key::new(HMAC_SHA256, &key)))
    }

    /// A seal that nobody else will ever have.
    ///
    /// # Errors
    /// The system has no random numbers.
    pub fn fresh() -> Result<Self, NoChance> {
        Ok(Self(Key::new(HMAC_SHA256, &random::<32>()?)))
    }

    /// `text` with its signature, fit for an address.
    pub fn sign(&self, text: &str) -> String {
        let tag = hmac::sign(&self.0, text.as_bytes());
        format!("{}.{}", URL_SAFE_NO_PAD.encode(text), URL_SAFE_NO_PAD.encode(tag))
    }

    /// The text that was signed; none if this seal did not sign it.
    pub fn read(&self, signed: &str) -> Option<String> {
        let (text, tag) = signed.split_once('.')?;
        let (text, tag) = (URL_SAFE_NO_PAD.decode(text).ok()?, URL_SAFE_NO_PAD.decode(tag).ok()?);
        hmac::verify(&self.0, &text, &tag).ok()?;
        String::from_utf8(text).ok()
    }
}

impl fmt::Debug for Seal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Seal")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_what_was_signed_is_read_and_the_key_outlasts_a_restart() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("links.key");
        let signed = Seal::kept_in(&file).unwrap().sign("alert 7");
        let again = Seal::kept_in(&file).unwrap();
        assert_eq!(again.read(&signed), Some("alert 7".to_owned()));
        let (text, tag) = signed.split_once('.').unwrap();
        let other = URL_SAFE_NO_PAD.encode("alert 8");
        for forged in
            [format!("{other}.{tag}"), format!("{text}."), text.to_owned(), format!("{text}.{tag}A")]
        {
            assert_eq!(again.read(&forged), None, "{forged}");
        }
        let elsewhere = Seal::kept_in(&folder.path().join("other.key")).unwrap();
        assert_eq!(elsewhere.read(&signed), None);
    }
}
