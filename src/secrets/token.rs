//! Secrets that programs carry: 256 random bits each, of which only a print is kept.

use std::fmt;

use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use ring::digest::{SHA256, digest};
use ring::rand::{SecureRandom, SystemRandom};

/// The system has no random numbers.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("the system gives no random numbers")]
pub struct NoChance;

/// A secret to be shown once, or put into a cookie.
#[derive(Clone, PartialEq, Eq)]
pub struct Token(String);

/// What is kept of a token (SHA-256): enough to know it again, too little to make it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct TokenPrint(pub [u8; 32]);

/// Random bytes.
pub(super) fn random<const N: usize>() -> Result<[u8; N], NoChance> {
    let mut bytes = [0; N];
    SystemRandom::new().fill(&mut bytes).map_err(|_| NoChance)?;
    Ok(bytes)
}

impl Token {
    /// A new one.
    ///
    /// # Errors
    /// Only when the system has no random numbers.
    pub fn new() -> Result<Self, NoChance> {
        Ok(Self(URL_SAFE_NO_PAD.encode(random::<32>()?)))
    }

    /// One that somebody presents; any text will do, since only its print counts.
    pub fn presented(text: &str) -> Self {
        Self(text.to_owned())
    }

    /// Its text.
    pub fn reveal(&self) -> &str {
        &self.0
    }

    /// What to keep of it.
    pub fn print(&self) -> TokenPrint {
        TokenPrint(sha256(self.0.as_bytes()))
    }

    /// Another secret that only those who have this one can name.
    pub fn derived(&self, purpose: &str) -> String {
        URL_SAFE_NO_PAD.encode(sha256(format!("{purpose}\n{}", self.0).as_bytes()))
    }
}

impl fmt::Debug for Token {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Token(…)")
    }
}

/// A code for people to copy by hand: 80 bits in four groups, without letters that look like others.
///
/// # Errors
/// Only when the system has no random numbers.
pub fn one_time_code() -> Result<String, NoChance> {
    const LETTERS: &[u8; 32] = b"ABCDEFGHJKLMNPQRSTUVWXYZ23456789";
    let letters: Vec<char> =
        random::<16>()?.iter().map(|byte| char::from(LETTERS[usize::from(byte % 32)])).collect();
    Ok(letters.chunks(4).map(|group| group.iter().collect::<String>()).collect::<Vec<_>>().join("-"))
}

/// A short text that no other content has (SHA-256).
pub fn digest_text(bytes: &[u8]) -> String {
    URL_SAFE_NO_PAD.encode(sha256(bytes))
}

/// Whether two secrets are the same, in a time that does not tell where they differ.
pub fn same_text(one: &str, other: &str) -> bool {
    let (one, other) = (sha256(one.as_bytes()), sha256(other.as_bytes()));
    one.iter().zip(other).fold(0, |differs, (a, b)| differs | (a ^ b)) == 0
}

fn sha256(bytes: &[u8]) -> [u8; 32] {
    digest(&SHA256, bytes).as_ref().try_into().expect("SHA-256 has 32 bytes")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_token_is_known_by_its_print() {
        let token = Token::new().unwrap();
        assert_eq!(Token::presented(token.reveal()).print(), token.print());
        assert_ne!(Token::new().unwrap(), token);
        assert_ne!(token.derived("forms"), token.derived("feeds"));
        assert!(!format!("{token:?}").contains(token.reveal()));
    }

    /// FIPS 180-4's example: SHA-256("abc").
    #[test]
    fn a_print_is_sha_256() {
        let print = Token::presented("abc").print().0;
        assert_eq!(print[..4], [0xba, 0x78, 0x16, 0xbf]);
        assert_eq!(print[28..], [0xf2, 0x00, 0x15, 0xad]);
    }

    #[test]
    fn a_code_is_easy_to_copy() {
        let code = one_time_code().unwrap();
        assert_eq!(code.len(), 19);
        assert!(
            code.chars().all(|c| c == '-' || (c.is_ascii_alphanumeric() && !"IO01".contains(c))),
            "{code}"
        );
        assert!(same_text(&code, &code.clone()) && !same_text(&code, "x"));
    }
}
