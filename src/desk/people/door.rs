//! The door: nothing but the way in is answered without knowing who asks.
//!
//! Browsers come with a cookie, programs with a key (`Authorization: Bearer`, RFC 6750). A request
//! that changes something and comes with a cookie must come from our own pages: its origin is ours
//! (WHATWG Fetch, the `Origin` header), and it brings along what only our forms know.

use std::net::{IpAddr, Ipv4Addr};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use axum::body::{Body, to_bytes};
use axum::extract::connect_info::Connected;
use axum::extract::{ConnectInfo, Request, State};
use axum::http::{Extensions, HeaderMap, Method, StatusCode, Uri, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Redirect, Response};
use axum::serve::IncomingStream;
use tokio::net::TcpListener;
use tokio::sync::Semaphore;

use super::attempts::Attempts;
use super::cookie;
use super::fields::{Fields, is_form};
use super::visitor::Visitor;
use crate::clock::Clock;
use crate::desk::office::{Entry, Office};
use crate::desk::problem::Problem;
use crate::desk::tls::TlsListener;
use crate::desk::visit::ask;
use crate::ledger::LedgerFault;
use crate::model::EventTime;
use crate::secrets::{NoChance, Token, same_text};

/// Largest form, bytes.
const FORM: usize = 64 * 1024;
/// Passwords hashed at once: each costs 19 MiB and a core for a while.
const HASHING: usize = 2;

/// What the door keeps in mind.
#[derive(Debug)]
pub(in crate::desk) struct Door {
    attempts: Mutex<Attempts>,
    pub(super) hashing: Semaphore,
    /// Behind the forms of whoever needs not sign in.
    house: Token,
    /// Signing in is about the real world, also where the yards live faster.
    clock: Clock,
}

impl Door {
    /// # Errors
    /// Only when the system has no random numbers.
    pub(in crate::desk) fn new() -> Result<Self, NoChance> {
        Ok(Self {
            attempts: Mutex::default(),
            hashing: Semaphore::new(HASHING),
            house: Token::new()?,
            clock: Clock::wall(),
        })
    }

    pub(super) fn now(&self) -> EventTime {
        self.clock.now()
    }

    /// Nothing can panic half-way through a count, so a poisoned lock is a good one.
    pub(super) fn attempts(&self) -> MutexGuard<'_, Attempts> {
        self.attempts.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// The other end of the connection.
#[derive(Clone, Copy, Debug)]
pub(in crate::desk) struct Peer(IpAddr);

impl Connected<IncomingStream<'_, TcpListener>> for Peer {
    fn connect_info(stream: IncomingStream<'_, TcpListener>) -> Self {
        Self(stream.remote_addr().ip())
    }
}

impl Connected<IncomingStream<'_, TlsListener>> for Peer {
    fn connect_info(stream: IncomingStream<'_, TlsListener>) -> Self {
        Self(stream.remote_addr().ip())
    }
}

/// Who is at the other end; unknown only in tests that have no connection.
pub(in crate::desk) fn peer(extensions: &Extensions) -> IpAddr {
    extensions.get::<ConnectInfo<Peer>>().map_or(IpAddr::V4(Ipv4Addr::UNSPECIFIED), |info| info.0.0)
}

/// Lets a request in with its [`Visitor`], or says what to do first.
pub(in crate::desk) async fn admit(
    State(office): State<Arc<Office>>,
    mut request: Request,
    next: Next,
) -> Response {
    let changes = !matches!(*request.method(), Method::GET | Method::HEAD | Method::OPTIONS);
    if changes && !is_from_our_pages(request.headers()) {
        return Problem::forbidden("another site's page sent this").into_response();
    }
    let visitor = match identify(&office, request.headers(), request.uri()).await {
        Ok(visitor) => visitor,
        Err(fault) => return Problem::from(fault).into_response(),
    };
    let Some(visitor) = visitor else {
        if is_way_in(request.method(), request.uri().path()) {
            return next.run(request).await;
        }
        let (method, uri) = (request.method().clone(), request.uri().clone());
        return turn_away(&office, &method, &uri).await;
    };
    let is_way_in = is_way_in(request.method(), request.uri().path());
    if let (true, Some(csrf), false) = (changes, visitor.csrf(), is_way_in) {
        let (read, ours) = match brings(request, &csrf).await {
            Ok(read) => read,
            Err(refusal) => return refusal,
        };
        if !ours {
            return Problem::forbidden("this form is too old: load the page again and repeat it")
                .into_response();
        }
        request = read;
    }
    request.extensions_mut().insert(visitor);
    next.run(request).await
}

/// Addresses that are open to everybody.
fn is_way_in(method: &Method, path: &str) -> bool {
    let by_program = *method == Method::POST && matches!(path, "/api/v1/session" | "/api/v1/first-owner");
    by_program
        || matches!(path, "/sign-in" | "/welcome")
        || path.starts_with("/assets/")
        || path.starts_with("/acknowledge/")
}

/// A browser tells where a change comes from; a program does not.
fn is_from_our_pages(headers: &HeaderMap) -> bool {
    let text = |name| headers.get(name).and_then(|value| value.to_str().ok());
    // What the browser says of both ends holds behind a proxy as well, where our own name is another.
    if let Some(site) = text(header::HeaderName::from_static("sec-fetch-site")) {
        return site == "same-origin" || site == "none";
    }
    let Some(origin) = text(header::ORIGIN) else { return true };
    let authority = origin.split_once("://").map(|(_, authority)| authority);
    authority.is_some() && authority == text(header::HOST)
}

async fn identify(office: &Office, headers: &HeaderMap, uri: &Uri) -> Result<Option<Visitor>, LedgerFault> {
    let now = office.door.now();
    let bearer = bearer(headers);
    let in_header = bearer.is_some();
    if let Some(key) = bearer.or_else(|| feed_key(uri)) {
        let print = Token::presented(&key).print();
        let known = ask(office, move |view| view.key(print, now)).await?;
        // A calendar's key has no scope: addresses leak, and it must not open anything else.
        let known = known.filter(|(_, scopes)| !in_header || !scopes.is_empty());
        return Ok(known.map(|(person, scopes)| Visitor::with_key(person, print, scopes)));
    }
    if let Some(session) = cookie::read(headers) {
        let print = session.print();
        if let Some(person) = ask(office, move |view| view.session(print, now)).await? {
            return Ok(Some(Visitor::at_browser(person, session)));
        }
    }
    if office.desk.entry == Entry::LetIn && !ask(office, crate::ledger::View::has_people).await? {
        return Ok(Some(Visitor::at_home(office.door.house.clone())));
    }
    Ok(None)
}

/// Whether somebody who listens for long may go on: their session or key still holds, and so does their reach.
pub(in crate::desk) async fn is_still_welcome(office: &Office, visitor: &Visitor) -> bool {
    let now = office.door.now();
    let (session, key) = (visitor.session(), visitor.key());
    let known = ask(office, move |view| match (session, key) {
        (Some(session), _) => view.session(session, now),
        (None, Some(key)) => Ok(view.key(key, now)?.map(|(person, _)| person)),
        (None, None) => Ok(None),
    });
    match (visitor.person(), known.await) {
        (Some(_), Ok(person)) => person.is_some_and(|person| !visitor.differs_from(&person)),
        (None, _) => ask(office, crate::ledger::View::has_people).await.is_ok_and(|any| !any),
        // A ledger that cannot be read just now is no reason to send anybody away.
        (Some(_), Err(_)) => true,
    }
}

fn bearer(headers: &HeaderMap) -> Option<String> {
    let (scheme, key) = headers.get(header::AUTHORIZATION)?.to_str().ok()?.split_once(' ')?;
    scheme.eq_ignore_ascii_case("bearer").then(|| key.trim().to_owned())
}

/// A calendar program cannot send headers, so the address of a feed may carry the key.
fn feed_key(uri: &Uri) -> Option<String> {
    let is_feed = uri.path().rsplit_once('.').is_some_and(|(_, kind)| kind == "ics");
    let query = uri.query().filter(|_| is_feed)?;
    let fields = Fields::parse(query.as_bytes());
    Some(fields.get("key").to_owned()).filter(|key| !key.is_empty())
}

async fn turn_away(office: &Office, method: &Method, uri: &Uri) -> Response {
    let path = uri.path();
    if path.starts_with("/api/") {
        return Problem::sign_in_first().into_response();
    }
    if *method != Method::GET || path == "/live" || path.starts_with("/fragments/") {
        return (StatusCode::UNAUTHORIZED, "Sign in first.\n").into_response();
    }
    match ask(office, crate::ledger::View::has_people).await {
        Ok(true) if path == "/" => Redirect::to("/sign-in").into_response(),
        Ok(true) => {
            let to = uri.path_and_query().map_or("/", |to| to.as_str());
            let to: String = form_urlencoded::byte_serialize(to.as_bytes()).collect();
            Redirect::to(&format!("/sign-in?to={to}")).into_response()
        }
        Ok(false) => Redirect::to("/welcome").into_response(),
        Err(fault) => Problem::from(fault).into_response(),
    }
}

/// Whether the request brings `csrf` along, in a header or in its form, which is read for it.
async fn brings(request: Request, csrf: &str) -> Result<(Request, bool), Response> {
    if let Some(sent) = request.headers().get("x-csrf-token") {
        let ours = sent.to_str().is_ok_and(|sent| same_text(sent, csrf));
        return Ok((request, ours));
    }
    if !is_form(request.headers()) {
        return Ok((request, false));
    }
    let (parts, body) = request.into_parts();
    let Ok(bytes) = to_bytes(body, FORM).await else {
        return Err((StatusCode::PAYLOAD_TOO_LARGE, "This form is too large.\n").into_response());
    };
    let ours = same_text(Fields::parse(&bytes).get("csrf"), csrf);
    Ok((Request::from_parts(parts, Body::from(bytes)), ours))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn headers(pairs: &[(&'static str, &'static str)]) -> HeaderMap {
        pairs.iter().map(|(name, value)| (name.parse().unwrap(), value.parse().unwrap())).collect()
    }

    #[test]
    fn a_change_from_another_sites_page_is_told_from_ours() {
        let ours = [
            vec![("host", "yard.example")],
            vec![("host", "yard.example:8480"), ("origin", "https://yard.example:8480")],
            vec![("host", "h"), ("origin", "http://h"), ("sec-fetch-site", "same-origin")],
            vec![
                ("host", "127.0.0.1:8480"),
                ("origin", "https://yards.example"),
                ("sec-fetch-site", "same-origin"),
            ],
        ];
        for pairs in ours {
            assert!(is_from_our_pages(&headers(&pairs)), "{pairs:?}");
        }
        let theirs = [
            vec![("host", "yard.example"), ("origin", "https://evil.example")],
            vec![("host", "yard.example"), ("origin", "null")],
            vec![("host", "yard.example"), ("origin", "https://yard.example.evil.example")],
            vec![("host", "yard.example"), ("sec-fetch-site", "cross-site")],
            vec![("host", "yard.example"), ("sec-fetch-site", "same-site")],
        ];
        for pairs in theirs {
            assert!(!is_from_our_pages(&headers(&pairs)), "{pairs:?}");
        }
    }

    #[test]
    fn only_a_feed_may_carry_its_key_in_the_address() {
        let key = |uri: &str| feed_key(&uri.parse().unwrap());
        assert_eq!(key("/calendar.ics?key=abc"), Some("abc".to_owned()));
        assert_eq!(key("/calendar.ics"), None);
        assert_eq!(key("/api/v1/systems?key=abc"), None);
    }
}
