//! Entity tags (RFC 9110, section 8.8.3): who asks again for what has not changed gets an empty answer.

use axum::body::{Body, to_bytes};
use axum::extract::Request;
use axum::http::{HeaderMap, Method, StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};

use crate::secrets::digest_text;

/// Largest answer that is tagged, bytes.
const LARGEST: usize = 8 << 20;

/// Tags JSON answers by their content.
pub(super) async fn tag(request: Request, next: Next) -> Response {
    let known = request.headers().get(header::IF_NONE_MATCH).cloned();
    let reads = matches!(*request.method(), Method::GET | Method::HEAD);
    let response = next.run(request).await;
    let is_json = response.headers().get(header::CONTENT_TYPE).is_some_and(|kind| kind == "application/json");
    if !reads || response.status() != StatusCode::OK || !is_json {
        return response;
    }
    let (mut parts, body) = response.into_parts();
    let Ok(bytes) = to_bytes(body, LARGEST).await else {
        return (StatusCode::INTERNAL_SERVER_ERROR, "The answer is too large.\n").into_response();
    };
    let tag = format!("\"{}\"", digest_text(&bytes));
    let same = known.is_some_and(|known| known.to_str().is_ok_and(|known| names(known, &tag)));
    add(&mut parts.headers, &tag);
    if same {
        parts.status = StatusCode::NOT_MODIFIED;
        parts.headers.remove(header::CONTENT_TYPE);
        parts.headers.remove(header::CONTENT_LENGTH);
        return Response::from_parts(parts, Body::empty());
    }
    Response::from_parts(parts, Body::from(bytes))
}

fn add(headers: &mut HeaderMap, tag: &str) {
    headers.insert(header::ETAG, tag.parse().expect("a digest is plain text"));
    headers.insert(header::CACHE_CONTROL, "private, no-cache".parse().expect("plain text"));
    // The same address answers differently to different people.
    headers.insert(header::VARY, "authorization, cookie".parse().expect("plain text"));
}

/// Whether `If-None-Match` names `tag`; weak comparison, as RFC 9110, section 13.1.2, asks for.
pub(super) fn names(header: &str, tag: &str) -> bool {
    header.split(',').map(str::trim).any(|known| known == "*" || known.trim_start_matches("W/") == tag)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tags_are_compared_weakly_and_in_lists() {
        assert!(names("\"a\"", "\"a\"") && names("W/\"a\"", "\"a\"") && names("\"b\", \"a\"", "\"a\""));
        assert!(names("*", "\"a\"") && !names("\"b\"", "\"a\""));
    }
}
