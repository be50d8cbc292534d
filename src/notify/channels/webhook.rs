//! Events posted over HTTP.
//!
//! The body is a `CloudEvent` in structured mode (`application/cloudevents+json`). With a secret it is
//! signed as the Standard Webhooks specification 1.0 says: `webhook-id`, `webhook-timestamp` and
//! `webhook-signature`, an HMAC-SHA-256 over the three parts `id.timestamp.body`. The id is repeated as
//! `idempotency-key`. Redirects are not followed.

use std::fs;
use std::time::{Duration, UNIX_EPOCH};

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use reqwest::header::{CONTENT_TYPE, DATE, HeaderMap, RETRY_AFTER};
use reqwest::{Certificate, Client, Response, StatusCode, redirect};
use ring::hmac::{self, HMAC_SHA256};
use serde_json::Value;

use super::Trouble;
use crate::model::{EventTime, Span};
use crate::settings::WebhookChannel;

/// Longest time for one try.
const TIME_LIMIT: Duration = Duration::from_secs(20);
/// Longest time until a connection stands.
const CONNECT_LIMIT: Duration = Duration::from_secs(8);

/// A place to post events to.
pub struct Webhook {
    client: Client,
    url: String,
    secret: Option<hmac::Key>,
}

impl Webhook {
    pub(super) fn new(settings: &WebhookChannel) -> Result<Self, Trouble> {
        let secret =
            settings.secret.as_ref().map(|secret| hmac::Key::new(HMAC_SHA256, &key(secret.expose())));
        let mut client = Client::builder()
            .timeout(TIME_LIMIT)
            .connect_timeout(CONNECT_LIMIT)
            .redirect(redirect::Policy::none())
            .user_agent(concat!("basinward/", env!("CARGO_PKG_VERSION")));
        if settings.url.starts_with("https:") {
            for trusted in rustls_native_certs::load_native_certs().certs {
                // One that cannot be read is of no use to anybody else either.
                if let Ok(certificate) = Certificate::from_der(&trusted) {
                    client = client.add_root_certificate(certificate);
                }
            }
            if let Some(file) = &settings.ca_file {
                let pem = fs::read(file).map_err(|error| Trouble::of(&error, "check `ca_file`"))?;
                let own =
                    Certificate::from_pem(&pem).map_err(|error| Trouble::of(&error, "check `ca_file`"))?;
                client = client.add_root_certificate(own);
            }
        }
        let client = client.build().map_err(|error| Trouble::of(&error, ""))?;
        Ok(Self { client, url: settings.url.clone(), secret })
    }

    pub(super) async fn post(&self, id: &str, event: &Value, now: EventTime) -> Result<(), Trouble> {
        let body = event.to_string();
        let mut request = self
            .client
            .post(&self.url)
            .header(CONTENT_TYPE, "application/cloudevents+json; charset=utf-8")
            .header("idempotency-key", id)
            .header("webhook-id", id);
        if let Some(secret) = &self.secret {
            let seconds = now.millis().div_euclid(1000).to_string();
            request = request
                .header("webhook-signature", signature(secret, id, &seconds, &body))
                .header("webhook-timestamp", seconds);
        }
        let answer = request.body(body).send().await.map_err(|error| explain(&error))?;
        if answer.status().is_success() { Ok(()) } else { Err(refusal(&answer, now)) }
    }
}

/// The key in a secret: `whsec_` and base64 as the specification has it, else the text itself.
fn key(secret: &str) -> Vec<u8> {
    let encoded = secret.strip_prefix("whsec_").and_then(|encoded| STANDARD.decode(encoded).ok());
    encoded.unwrap_or_else(|| secret.as_bytes().to_vec())
}

fn signature(key: &hmac::Key, id: &str, seconds: &str, body: &str) -> String {
    let tag = hmac::sign(key, format!("{id}.{seconds}.{body}").as_bytes());
    format!("v1,{}", STANDARD.encode(tag))
}

fn refusal(answer: &Response, now: EventTime) -> Trouble {
    let status = answer.status();
    let advice = match status {
        StatusCode::UNAUTHORIZED | StatusCode::FORBIDDEN => "check `secret` and what the other side allows",
        StatusCode::NOT_FOUND | StatusCode::GONE | StatusCode::METHOD_NOT_ALLOWED => "check `url`",
        StatusCode::TOO_MANY_REQUESTS => "it is tried again when the other side wants it",
        _ if status.is_redirection() => "redirects are not followed: write the final address into `url`",
        _ if status.is_server_error() => "the other side has trouble of its own",
        _ => "ask whoever runs the other side",
    };
    Trouble { says: format!("the answer was {status}: {advice}"), not_before: asked(answer.headers(), now) }
}

/// The pause that the other side asks for: seconds, or a date on its own clock (RFC 9110, section 10.2.3).
fn asked(headers: &HeaderMap, now: EventTime) -> Option<Span> {
    let text = |name| Some(headers.get(name)?.to_str().ok()?.trim());
    let after = text(RETRY_AFTER)?;
    if let Ok(seconds) = after.parse::<u32>() {
        return Some(Span::from_secs(i64::from(seconds)));
    }
    let until = httpdate::parse_http_date(after).ok()?;
    let theirs = text(DATE).and_then(|date| httpdate::parse_http_date(date).ok());
    let ours = || UNIX_EPOCH + Duration::from_millis(now.millis().unsigned_abs());
    // A date that is past asks for nothing.
    let pause = until.duration_since(theirs.unwrap_or_else(ours)).unwrap_or_default();
    Some(Span::from_secs(pause.as_secs() as i64))
}

fn explain(error: &reqwest::Error) -> Trouble {
    let advice = if error.is_timeout() {
        "no answer in time"
    } else if error.is_connect() {
        "check the host and port in `url`, and for https:// the certificate (`ca_file` names your own authority)"
    } else {
        ""
    };
    Trouble::of(error, advice)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The example of the Standard Webhooks libraries (github.com/standard-webhooks/standard-webhooks; from memory,
    /// and recomputed with Python's hmac).
    #[test]
    fn a_signature_is_that_of_the_standard() {
        let key = hmac::Key::new(HMAC_SHA256, &key("whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"));
        let made = signature(&key, "msg_p5jXN8AQM9LWM0D4loKWxJek", "1614265330", r#"{"test": 2432232314}"#);
        assert_eq!(made, "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE=");
    }
    /// The forms of RFC 9110, sections 5.6.7 and 10.2.3, with the sections' own values.
    #[test]
    fn a_pause_is_asked_for_in_seconds_or_by_a_date_in_any_of_its_three_forms() {
        let asked = |after: &str, date: Option<&str>, now_s: i64| {
            let mut headers = HeaderMap::new();
            headers.insert(RETRY_AFTER, after.parse().unwrap());
            date.map(|date| headers.insert(DATE, date.parse().unwrap()));
            super::asked(&headers, EventTime::from_secs(now_s)).map(|pause| pause.millis() / 1000)
        };
        let instant = 784_111_777; // 6 November 1994, 08:49:37 UTC, by GNU date
        assert_eq!(asked("120", None, instant), Some(120));
        for form in
            ["Sun, 06 Nov 1994 08:49:37 GMT", "Sunday, 06-Nov-94 08:49:37 GMT", "Sun Nov  6 08:49:37 1994"]
        {
            assert_eq!(asked(form, None, instant - 90), Some(90), "{form}");
            assert_eq!(asked(form, None, instant + 90), Some(0), "{form}");
            assert_eq!(asked(form, Some("Sun, 06 Nov 1994 08:49:07 GMT"), 0), Some(30), "{form}");
        }
        assert_eq!(asked("Fri, 31 Dec 1999 23:59:59 GMT", None, 946_684_799 - 7), Some(7));
        assert_eq!(asked("soon", None, instant), None);
    }
}
