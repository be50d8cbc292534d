//! The cookie of a signed-in browser (RFC 6265).

use axum::http::{HeaderMap, HeaderValue, header};

use crate::model::Span;
use crate::secrets::Token;

/// Its name where the browser came over plain HTTP, and where over TLS: the prefix makes the browser
/// refuse one that is not `Secure` or was set for another path (RFC 6265bis, section 4.1.3.2).
const PLAIN: &str = "basinward";
const SECURE: &str = "__Host-basinward";

/// How long a browser stays signed in.
pub(in crate::desk) const LASTS: Span = Span::from_days(30);

/// The session that a request brings along.
pub(super) fn read(headers: &HeaderMap) -> Option<Token> {
    let cookies = headers.get_all(header::COOKIE).iter().filter_map(|cookies| cookies.to_str().ok());
    let mut pairs =
        cookies.flat_map(|cookies| cookies.split(';')).filter_map(|pair| pair.trim().split_once('='));
    pairs.find(|(name, _)| [SECURE, PLAIN].contains(name)).map(|(_, value)| Token::presented(value))
}

/// The header that gives a browser its session.
pub(in crate::desk) fn give(session: &Token, over_tls: bool) -> HeaderValue {
    header_with(session.reveal(), LASTS.millis() / 1000, over_tls)
}

/// The header that takes it away again.
pub(in crate::desk) fn take(over_tls: bool) -> HeaderValue {
    header_with("", 0, over_tls)
}

fn header_with(value: &str, seconds: i64, over_tls: bool) -> HeaderValue {
    let (name, secure) = if over_tls { (SECURE, "; Secure") } else { (PLAIN, "") };
    let text = format!("{name}={value}; Path=/; Max-Age={seconds}; HttpOnly; SameSite=Lax{secure}");
    HeaderValue::try_from(text).expect("a token has letters, digits, - and _ only")
}

/// Whether the browser's side of the connection is encrypted, by us or by a proxy before us: a form tells
/// the scheme of its page in `Origin`.
pub(in crate::desk) fn is_over_tls(headers: &HeaderMap) -> bool {
    headers.get(header::ORIGIN).is_some_and(|origin| origin.as_bytes().starts_with(b"https://"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_given_is_read_again() {
        let token = Token::new().unwrap();
        for over_tls in [false, true] {
            let given = give(&token, over_tls);
            let text = given.to_str().unwrap();
            assert!(text.contains("HttpOnly") && text.contains("SameSite=Lax"), "{text}");
            assert_eq!(text.contains("Secure") && text.starts_with("__Host-"), over_tls);
            let pair = text.split(';').next().unwrap();
            let mut headers = HeaderMap::new();
            headers.insert(header::COOKIE, format!("theme=dark; {pair}").parse().unwrap());
            assert_eq!(read(&headers), Some(token.clone()));
        }
        assert_eq!(read(&HeaderMap::new()), None);
    }
}
