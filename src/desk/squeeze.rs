//! Answers made smaller on their way (gzip, RFC 1952), for slow phone links.

use std::io::Write;

use axum::body::{Body, HttpBody, to_bytes};
use axum::extract::Request;
use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use flate2::Compression;
use flate2::write::GzEncoder;

/// Below this a packet is sent all the same, bytes.
const SMALLEST: u64 = 1_000;
/// Above this it would hold too much memory, bytes.
const LARGEST: u64 = 16 << 20;

/// Compresses text that is known as a whole; what comes as a stream, such as live events, goes as it is.
///
/// A secret and a text that somebody else chose must not be compressed together where that person can measure
/// many answers (BREACH, CVE-2013-3587). Pages carry the token of their forms and repeat what was searched for,
/// so requests that another site makes a browser send, which it marks (W3C Fetch Metadata), get plain answers;
/// cookies are `SameSite` besides.
pub(super) async fn squeeze(request: Request, next: Next) -> Response {
    let wanted = takes_gzip(request.headers()) && !is_from_elsewhere(request.headers());
    let mut response = next.run(request).await;
    if !is_text(response.headers()) {
        return response;
    }
    response.headers_mut().append(header::VARY, HeaderValue::from_static("accept-encoding, sec-fetch-site"));
    let known = response.body().size_hint().exact();
    let fits = known.is_some_and(|bytes| (SMALLEST..=LARGEST).contains(&bytes));
    if !wanted || !fits || response.headers().contains_key(header::CONTENT_ENCODING) {
        return response;
    }
    let (mut parts, body) = response.into_parts();
    let Ok(plain) = to_bytes(body, LARGEST as usize).await else {
        return (StatusCode::INTERNAL_SERVER_ERROR, "The answer was lost.\n").into_response();
    };
    parts.headers.remove(header::CONTENT_LENGTH);
    parts.headers.insert(header::CONTENT_ENCODING, HeaderValue::from_static("gzip"));
    weaken(&mut parts.headers);
    Response::from_parts(parts, Body::from(gzip(&plain)))
}

fn gzip(plain: &[u8]) -> Vec<u8> {
    let mut encoder = GzEncoder::new(Vec::with_capacity(plain.len() / 4), Compression::fast());
    encoder.write_all(plain).expect("a vector takes everything");
    encoder.finish().expect("a vector takes everything")
}

/// A tag is of the plain bytes, so it holds for these only as an equivalent (RFC 9110, section 8.8.1).
fn weaken(headers: &mut HeaderMap) {
    let strong =
        headers.get(header::ETAG).and_then(|tag| tag.to_str().ok()).filter(|tag| !tag.starts_with("W/"));
    if let Some(weak) = strong.and_then(|tag| HeaderValue::try_from(format!("W/{tag}")).ok()) {
        headers.insert(header::ETAG, weak);
    }
}

/// Whether `Accept-Encoding` names gzip with a weight above zero (RFC 9110, section 12.5.3).
fn takes_gzip(headers: &HeaderMap) -> bool {
    let lines = headers.get_all(header::ACCEPT_ENCODING).iter().filter_map(|line| line.to_str().ok());
    lines.flat_map(|line| line.split(',')).any(|coding| {
        let (name, weight) = coding.split_once(';').unwrap_or((coding, "q=1"));
        let weight = weight.trim().strip_prefix("q=").and_then(|weight| weight.parse::<f32>().ok());
        name.trim().eq_ignore_ascii_case("gzip") && weight.is_some_and(|weight| weight > 0.0)
    })
}

fn is_from_elsewhere(headers: &HeaderMap) -> bool {
    headers.get("sec-fetch-site").is_some_and(|site| site != "same-origin" && site != "none")
}

fn is_text(headers: &HeaderMap) -> bool {
    let kind = headers.get(header::CONTENT_TYPE).and_then(|kind| kind.to_str().ok()).unwrap_or_default();
    let kind = kind.split(';').next().unwrap_or_default().trim();
    let other = ["application/json", "application/problem+json", "text/javascript", "image/svg+xml"];
    kind != "text/event-stream" && (kind.starts_with("text/") || other.contains(&kind))
}

#[cfg(test)]
mod tests {
    use std::io::Read;

    use axum::Router;
    use axum::middleware::from_fn;
    use axum::response::sse::{Event, Sse};
    use axum::routing::get;
    use flate2::read::GzDecoder;
    use futures_util::stream;
    use tokio::io::{AsyncReadExt, AsyncWriteExt};
    use tokio::net::{TcpListener, TcpStream};

    use super::*;

    /// The answer to a request with these lines, from a router with a page, events and a short word.
    async fn answer(path: &str, lines: &str) -> (String, Vec<u8>) {
        let page = || async { ([(header::ETAG, "\"a\"")], "slow soak ".repeat(500)) };
        let events = || async {
            Sse::new(stream::iter([Ok::<_, axum::Error>(Event::default().data("x".repeat(4000)))]))
        };
        let routes = Router::new().route("/page", get(page)).route("/events", get(events));
        let routes = routes.route("/short", get(|| async { "ok" })).layer(from_fn(squeeze));
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let address = listener.local_addr().unwrap();
        tokio::spawn(async move { axum::serve(listener, routes).await });
        let mut peer = TcpStream::connect(address).await.unwrap();
        let request = format!("GET {path} HTTP/1.0\r\n{lines}\r\n");
        peer.write_all(request.as_bytes()).await.unwrap();
        let mut bytes = Vec::new();
        peer.read_to_end(&mut bytes).await.unwrap();
        let head = bytes.windows(4).position(|four| four == b"\r\n\r\n").unwrap() + 4;
        (String::from_utf8(bytes[..head].to_vec()).unwrap().to_lowercase(), bytes[head..].to_vec())
    }

    #[tokio::test]
    async fn text_is_compressed_for_those_who_take_it() {
        let (head, body) = answer("/page", "Accept-Encoding: br, gzip;q=0.5\r\n").await;
        assert!(head.contains("content-encoding: gzip") && head.contains("etag: w/\"a\""), "{head}");
        assert!(head.contains("vary: accept-encoding") && body.len() < 500, "{head}");
        let mut plain = String::new();
        GzDecoder::new(&body[..]).read_to_string(&mut plain).unwrap();
        assert_eq!(plain, "slow soak ".repeat(500));
        for lines in ["", "Accept-Encoding: gzip;q=0\r\n", "Accept-Encoding: br\r\n"] {
            let (head, body) = answer("/page", lines).await;
            assert!(!head.contains("content-encoding") && body.len() == 5000, "{head}");
        }
    }

    #[tokio::test]
    async fn requests_that_another_site_causes_and_streams_are_not_compressed() {
        let gzip = "Accept-Encoding: gzip\r\n";
        for site in ["cross-site", "same-site"] {
            let (head, _) = answer("/page", &format!("{gzip}Sec-Fetch-Site: {site}\r\n")).await;
            assert!(!head.contains("content-encoding"), "{head}");
        }
        let (head, _) = answer("/page", &format!("{gzip}Sec-Fetch-Site: same-origin\r\n")).await;
        assert!(head.contains("content-encoding: gzip"), "{head}");
        let (head, body) = answer("/events", gzip).await;
        assert!(!head.contains("content-encoding") && body.starts_with(b"data: x"), "{head}");
        let (head, _) = answer("/short", gzip).await;
        assert!(!head.contains("content-encoding"), "{head}");
    }
}
