//! What every answer carries, and which requests get none.

use std::net::IpAddr;
use std::sync::Arc;

use axum::extract::{Request, State};
use axum::http::{HeaderName, HeaderValue, StatusCode, header, uri::Authority};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};

/// No inline script or style, nothing from elsewhere, no frame around us.
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; \
                      connect-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'";

const HEADERS: [(HeaderName, HeaderValue); 7] = [
    (header::CONTENT_SECURITY_POLICY, HeaderValue::from_static(POLICY)),
    (header::X_CONTENT_TYPE_OPTIONS, HeaderValue::from_static("nosniff")),
    (header::X_FRAME_OPTIONS, HeaderValue::from_static("DENY")),
    (header::REFERRER_POLICY, HeaderValue::from_static("same-origin")),
    (HeaderName::from_static("cross-origin-opener-policy"), HeaderValue::from_static("same-origin")),
    (
        HeaderName::from_static("permissions-policy"),
        HeaderValue::from_static("camera=(self), geolocation=(), microphone=()"),
    ),
    (HeaderName::from_static("cross-origin-resource-policy"), HeaderValue::from_static("same-origin")),
];

/// Adds the headers that keep a page to itself.
pub(super) async fn headers(request: Request, next: Next) -> Response {
    let mut response = next.run(request).await;
    for (name, value) in HEADERS {
        response.headers_mut().insert(name, value);
    }
    response
}

/// Tells browsers to come over TLS only from now on (RFC 6797).
pub(super) async fn stay_on_tls(request: Request, next: Next) -> Response {
    let mut response = next.run(request).await;
    let year = HeaderValue::from_static("max-age=31536000");
    response.headers_mut().insert(header::STRICT_TRANSPORT_SECURITY, year);
    response
}

/// Host names that the desk answers to.
///
/// A desk that only this machine can reach must not answer to names: a page from elsewhere could
/// give its own name this machine's address, and then read what the desk says (DNS rebinding).
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Hosts {
    /// Any.
    Any,
    /// This machine: `localhost` and loopback addresses.
    ThisMachine,
}

impl Hosts {
    /// What a desk that listens at `address` should answer to.
    pub fn of(address: IpAddr) -> Self {
        if address.is_loopback() { Self::ThisMachine } else { Self::Any }
    }

    /// Whether a request for `host`, as its `Host` header names it, gets an answer.
    pub fn admit(&self, host: Option<&str>) -> bool {
        match self {
            Self::Any => true,
            Self::ThisMachine => host.and_then(|host| host.parse().ok()).is_some_and(|host: Authority| {
                let name = host.host().trim_start_matches('[').trim_end_matches(']');
                name.eq_ignore_ascii_case("localhost")
                    || name.parse::<IpAddr>().is_ok_and(|address| address.is_loopback())
            }),
        }
    }
}

/// Refuses requests for hosts that the desk does not answer to.
pub(super) async fn hosts(State(hosts): State<Arc<Hosts>>, request: Request, next: Next) -> Response {
    let named = request.headers().get(header::HOST).and_then(|host| host.to_str().ok());
    if hosts.admit(named.or_else(|| request.uri().authority().map(Authority::as_str))) {
        return next.run(request).await;
    }
    let says = "This desk answers only to localhost, 127.0.0.1 and [::1]. A proxy before it must send \
                one of them as Host.\n";
    (StatusCode::MISDIRECTED_REQUEST, says).into_response()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_desk_on_loopback_answers_to_this_machine_only() {
        let hosts = Hosts::of("127.0.0.1".parse().unwrap());
        for host in ["localhost", "LOCALHOST:8080", "127.0.0.1:80", "127.8.8.8", "[::1]:8080", "[::1]"] {
            assert!(hosts.admit(Some(host)), "{host}");
        }
        for host in ["evil.example", "localhost.evil.example", "10.0.0.1", "127.0.0.1.evil.example:80", ""] {
            assert!(!hosts.admit(Some(host)), "{host}");
        }
        assert!(!hosts.admit(None));
        assert!(Hosts::of("0.0.0.0".parse().unwrap()).admit(Some("garden.example")));
    }
}
