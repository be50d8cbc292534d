//! What a person prefers, kept in a cookie of their own browser.

use std::convert::Infallible;

use axum::extract::{FromRequestParts, Query};
use axum::http::request::Parts;
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde::Deserialize;

use crate::desk::units::Units;

/// Name of the cookie.
const UNITS: &str = "units";
/// How long a browser remembers, seconds: a year.
const KEPT_S: u32 = 31_536_000;

impl<S: Sync> FromRequestParts<S> for Units {
    type Rejection = Infallible;

    async fn from_request_parts(parts: &mut Parts, _: &S) -> Result<Self, Infallible> {
        Ok(cookie(&parts.headers, UNITS).and_then(Self::named).unwrap_or_default())
    }
}

/// The value of a cookie (RFC 6265, section 5.4).
fn cookie<'h>(headers: &'h HeaderMap, name: &str) -> Option<&'h str> {
    let lines = headers.get_all(header::COOKIE).iter().filter_map(|line| line.to_str().ok());
    lines
        .flat_map(|line| line.split(';'))
        .filter_map(|pair| pair.trim().split_once('='))
        .find_map(|(key, value)| (key == name).then_some(value))
}

/// What is preferred from now on, and where to go back to.
#[derive(Debug, Deserialize)]
pub(in crate::desk) struct Preferred {
    to: String,
    #[serde(default)]
    back: String,
}

/// `GET /units?to=us&back=/systems/quince`
pub(in crate::desk) async fn units(Query(preferred): Query<Preferred>) -> Response {
    let units = Units::named(&preferred.to).unwrap_or_default();
    // Only to this desk: a path, and none that a browser takes for another host.
    let is_here = preferred.back.starts_with('/')
        && !preferred.back.starts_with("//")
        && !preferred.back.contains('\\');
    let back = if is_here { preferred.back } else { "/".to_owned() };
    let kept = format!("{UNITS}={}; Path=/; Max-Age={KEPT_S}; SameSite=Lax; HttpOnly", units.name());
    (StatusCode::SEE_OTHER, [(header::LOCATION, back), (header::SET_COOKIE, kept)]).into_response()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_cookie_is_found_among_others() {
        let mut headers = HeaderMap::new();
        headers.insert(header::COOKIE, "session=1; units=us".parse().unwrap());
        assert_eq!(cookie(&headers, UNITS), Some("us"));
        assert_eq!(cookie(&headers, "unit"), None);
    }
}
