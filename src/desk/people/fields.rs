//! The fields of a sent form.

use axum::body::Bytes;
use axum::extract::{FromRequest, Request};
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Response};

/// Name and value of every field, in the form's order; a name may come more than once.
#[derive(Debug, Default)]
pub(in crate::desk) struct Fields(Vec<(String, String)>);

impl Fields {
    /// Reads `application/x-www-form-urlencoded` (WHATWG URL, section 5).
    pub(in crate::desk) fn parse(body: &[u8]) -> Self {
        Self(form_urlencoded::parse(body).into_owned().collect())
    }

    /// The value of the first field called `name`, empty without one.
    pub(in crate::desk) fn get(&self, name: &str) -> &str {
        self.all(name).next().unwrap_or_default()
    }

    /// The values of every field called `name`.
    pub(in crate::desk) fn all(&self, name: &str) -> impl Iterator<Item = &str> {
        self.0.iter().filter(move |(known, _)| known == name).map(|(_, value)| value.as_str())
    }
}

/// Whether a request carries a form.
pub(super) fn is_form(headers: &HeaderMap) -> bool {
    let kind = headers.get(header::CONTENT_TYPE).and_then(|kind| kind.to_str().ok()).unwrap_or_default();
    kind.split(';').next().unwrap_or_default().trim() == "application/x-www-form-urlencoded"
}

impl<S: Send + Sync> FromRequest<S> for Fields {
    type Rejection = Response;

    async fn from_request(request: Request, state: &S) -> Result<Self, Response> {
        if !is_form(request.headers()) {
            return Err((StatusCode::UNSUPPORTED_MEDIA_TYPE, "Send a form.\n").into_response());
        }
        let body = Bytes::from_request(request, state).await.map_err(IntoResponse::into_response)?;
        Ok(Self::parse(&body))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_form_is_read_with_repeated_fields() {
        let fields = Fields::parse(b"name=Maria+L%C3%B3pez&property=a&property=b&empty=");
        assert_eq!(fields.get("name"), "Maria López");
        assert_eq!(fields.all("property").collect::<Vec<_>>(), ["a", "b"]);
        assert_eq!((fields.get("empty"), fields.get("absent")), ("", ""));
    }
}
