//! The server at the other end, and what its answers mean for us.
//!
//! The client library is used for its one call that takes lines as they are: its own encoder lets a line feed in a
//! tag through, and its compression costs five times what ours does. It hides the answer's headers, so how long to
//! wait is our own business.

use std::io::Write;
use std::path::PathBuf;
use std::time::Duration;

use flate2::Compression;
use flate2::write::GzEncoder;
use influxdb2::api::write::TimestampPrecision;
use influxdb2::{Client, ClientBuilder, RequestError};
use reqwest::header::{CONTENT_ENCODING, HeaderMap, HeaderValue};
use reqwest::{Certificate, StatusCode};

/// Longest wait for a connection.
const CONNECT: Duration = Duration::from_secs(10);
/// Longest wait for an answer.
const ANSWER: Duration = Duration::from_secs(30);
/// Longest text of an answer that is kept, bytes.
const SAYS: usize = 300;

/// Where to write to.
#[derive(Clone, PartialEq, Eq)]
pub struct Destination {
    /// `http://host:port`, without a path.
    pub url: String,
    /// Organisation.
    pub org: String,
    /// Bucket.
    pub bucket: String,
    /// Token; none where the server asks for none.
    pub token: Option<String>,
    /// Certificates to trust; none means the machine's own list.
    pub ca_file: Option<PathBuf>,
}

/// What cannot work, whatever the server says.
#[derive(Debug, thiserror::Error)]
pub enum SetupFault {
    /// The certificates cannot be used.
    #[error("{path} cannot be used as certificates to trust: {why}")]
    Certificates {
        /// The file.
        path: PathBuf,
        /// Why not.
        why: String,
    },
    /// The HTTP client does not start.
    #[error("the HTTP client does not start")]
    Client(#[from] influxdb2::BuildError),
}

/// Why lines were not taken.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Trouble {
    /// Something about these lines; others may do.
    #[error("the server refuses a line: {0}")]
    Lines(String),
    /// Too many bytes at once.
    #[error("the server takes less at once")]
    TooLarge,
    /// The server or the way to it is busy, down or broken; it may pass by itself.
    #[error("the server cannot be written to just now: {0}")]
    Passing(String),
    /// Somebody must act: token, bucket, organisation, address.
    #[error("the server does not let us write: {0}")]
    Denied(String),
}

/// A connection to the server, kept open between writes.
pub(super) struct Server {
    client: Client,
    destination: Destination,
}

impl Destination {
    /// What to call it: without the token.
    pub fn name(&self) -> String {
        format!("{} {} {}", self.url, self.org, self.bucket)
    }
}

impl std::fmt::Debug for Destination {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_tuple("Destination").field(&self.name()).finish()
    }
}

impl Server {
    pub(super) fn new(destination: Destination) -> Result<Self, SetupFault> {
        let mut always = HeaderMap::new();
        always.insert(CONTENT_ENCODING, HeaderValue::from_static("gzip"));
        let mut http = reqwest::Client::builder()
            .connect_timeout(CONNECT)
            .timeout(ANSWER)
            .redirect(reqwest::redirect::Policy::none())
            .default_headers(always);
        if destination.url.starts_with("https:") {
            for certificate in trusted(&destination)? {
                http = http.add_root_certificate(certificate);
            }
        }
        let token = destination.token.clone().unwrap_or_default();
        let client = ClientBuilder::with_builder(http, &destination.url, &destination.org, token).build()?;
        Ok(Self { client, destination })
    }

    /// Writes `lines`; when it returns, the server has them.
    pub(super) async fn write(&self, lines: &str) -> Result<(), Trouble> {
        let Destination { org, bucket, .. } = &self.destination;
        let body = gzip(lines);
        let precision = TimestampPrecision::Milliseconds;
        match self.client.write_line_protocol_with_precision(org, bucket, body, precision).await {
            Ok(()) => Ok(()),
            Err(RequestError::Http { status, text }) => Err(meaning(status, &text)),
            Err(RequestError::ReqwestProcessing { source }) => Err(Trouble::Passing(cause(&source))),
            Err(other @ (RequestError::Serializing { .. } | RequestError::Deserializing { .. })) => {
                Err(Trouble::Passing(other.to_string()))
            }
        }
    }
}

/// What an answer other than 204 means. Anything else that looks like success is not from the server that we want.
fn meaning(status: StatusCode, text: &str) -> Trouble {
    let says = format!("{status}, {}", message(text));
    match status.as_u16() {
        400 | 422 => Trouble::Lines(says),
        413 => Trouble::TooLarge,
        408 | 429 | 500..=599 => Trouble::Passing(says),
        _ => Trouble::Denied(says),
    }
}

/// The server's own words: the `message` of its JSON, or the beginning of whatever it sent.
fn message(text: &str) -> String {
    let read = serde_json::from_str::<serde_json::Value>(text).ok();
    let words = read.as_ref().and_then(|json| json.get("message")?.as_str()).unwrap_or(text).trim();
    match words {
        "" => "without a word".to_owned(),
        words => words[..words.floor_char_boundary(SAYS)].to_owned(),
    }
}

/// The innermost cause, which is what the network said; the outer ones repeat the address.
fn cause(error: &reqwest::Error) -> String {
    if error.is_timeout() {
        return "it does not answer".to_owned();
    }
    let mut cause: &dyn std::error::Error = error;
    while let Some(inner) = cause.source() {
        cause = inner;
    }
    cause.to_string()
}

/// Level 1: on lines as alike as these, higher levels gain little and cost much.
fn gzip(lines: &str) -> Vec<u8> {
    let mut out = GzEncoder::new(Vec::with_capacity(lines.len() / 8), Compression::fast());
    out.write_all(lines.as_bytes()).expect("writing to memory cannot fail");
    out.finish().expect("writing to memory cannot fail")
}

fn trusted(destination: &Destination) -> Result<Vec<Certificate>, SetupFault> {
    let Some(path) = &destination.ca_file else {
        // Single broken roots are common on real machines.
        let found = rustls_native_certs::load_native_certs().certs;
        return Ok(found.iter().filter_map(|root| Certificate::from_der(root).ok()).collect());
    };
    let unusable = |why: String| SetupFault::Certificates { path: path.clone(), why };
    let pem = std::fs::read(path).map_err(|error| unusable(error.to_string()))?;
    let found = Certificate::from_pem_bundle(&pem).map_err(|error| unusable(error.to_string()))?;
    if found.is_empty() {
        return Err(unusable("there is none in it".to_owned()));
    }
    Ok(found)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn answers_say_who_must_act() {
        let of = |status: u16, text: &str| meaning(StatusCode::from_u16(status).expect("a status"), text);
        assert!(matches!(of(400, ""), Trouble::Lines(_)));
        assert!(matches!(of(422, ""), Trouble::Lines(_)));
        assert_eq!(of(413, "x"), Trouble::TooLarge);
        for status in [429, 500, 502, 503, 504] {
            assert!(matches!(of(status, ""), Trouble::Passing(_)), "{status}");
        }
        for status in [200, 301, 401, 403, 404] {
            assert!(matches!(of(status, ""), Trouble::Denied(_)), "{status}");
        }
    }

    #[test]
    fn the_words_of_the_server_are_shown_in_short() {
        assert_eq!(message(r#"{"code":"invalid","message":"missing tag value"}"#), "missing tag value");
        assert_eq!(message(" <html>no</html> "), "<html>no</html>");
        assert_eq!(message(""), "without a word");
        assert_eq!(message(&"é".repeat(400)).len(), 300);
    }

    #[test]
    fn the_token_is_not_shown() {
        let destination = Destination {
            url: "http://127.0.0.1:8086".into(),
            org: "yards".into(),
            bucket: "greywater".into(),
            token: Some("correct horse".into()),
            ca_file: None,
        };
        assert!(!format!("{destination:?}").contains("horse"));
    }
}
