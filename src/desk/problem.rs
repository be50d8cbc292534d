//! Why a program gets nothing, as problem details (RFC 9457).

use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde::Serialize;
use tracing::error;
use utoipa::ToSchema;

use crate::ledger::{LedgerFault, Refused};
use crate::telemetry::chain;

/// One reason, for a program and the person behind it.
#[derive(Debug)]
pub(super) struct Problem {
    status: StatusCode,
    /// What is wrong, the same every time.
    title: &'static str,
    /// What is wrong this time, and how to mend it.
    detail: String,
    /// Each thing wrong with what was sent.
    faults: Vec<FieldFault>,
}

/// One thing wrong with a field of what was sent.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub(super) struct FieldFault {
    /// The field, as a JSON pointer (RFC 6901) into what was sent.
    pub(super) pointer: String,
    /// What is wrong with it, and how to mend it.
    pub(super) detail: String,
}

#[derive(Serialize)]
struct Wire<'a> {
    title: &'a str,
    status: u16,
    detail: &'a str,
    #[serde(skip_serializing_if = "Option::is_none")]
    errors: Option<&'a [FieldFault]>,
}

impl Problem {
    fn new(status: StatusCode, title: &'static str, detail: impl Into<String>) -> Self {
        Self { status, title, detail: detail.into(), faults: Vec::new() }
    }

    /// Nobody knows who asks.
    pub(super) fn sign_in_first() -> Self {
        let detail = "send a key as `Authorization: Bearer …`, which people make on their own page, or sign in by \
                      POST /api/v1/session";
        Self::new(StatusCode::UNAUTHORIZED, "Not signed in", detail)
    }

    /// Whoever asks may not.
    pub(super) fn forbidden(detail: impl Into<String>) -> Self {
        Self::new(StatusCode::FORBIDDEN, "Not allowed", detail)
    }

    /// There is no such thing, or none that the visitor may know of.
    pub(super) fn not_found(detail: impl Into<String>) -> Self {
        Self::new(StatusCode::NOT_FOUND, "Not found", detail)
    }

    /// What was sent cannot be right.
    pub(super) fn wrong(detail: impl Into<String>) -> Self {
        Self::new(StatusCode::UNPROCESSABLE_ENTITY, "Not understood", detail)
    }

    /// As [`Problem::wrong`], with each faulty field.
    pub(super) fn wrong_fields(detail: impl Into<String>, faults: Vec<FieldFault>) -> Self {
        Self { faults, ..Self::wrong(detail) }
    }

    /// It does not go with what is there.
    pub(super) fn conflict(detail: impl Into<String>) -> Self {
        Self::new(StatusCode::CONFLICT, "Conflict", detail)
    }

    /// Too many attempts.
    pub(super) fn too_many(detail: impl Into<String>) -> Self {
        Self::new(StatusCode::TOO_MANY_REQUESTS, "Too many attempts", detail)
    }

    /// The work failed here.
    pub(super) fn failed(detail: impl Into<String>) -> Self {
        Self::new(StatusCode::INTERNAL_SERVER_ERROR, "Failed", detail)
    }

    /// What is wrong, in words for a page.
    pub(super) fn detail(&self) -> &str {
        &self.detail
    }

    /// Its status.
    pub(super) fn status(&self) -> StatusCode {
        self.status
    }
}

impl From<LedgerFault> for Problem {
    fn from(fault: LedgerFault) -> Self {
        error!(error = %chain(&fault), "the ledger cannot be read for the desk");
        let detail = "the ledger cannot be read just now; the daemon's log says why";
        Self::new(StatusCode::SERVICE_UNAVAILABLE, "Unavailable", detail)
    }
}

impl From<Refused> for Problem {
    fn from(refused: Refused) -> Self {
        Self::conflict(refused.0)
    }
}

impl IntoResponse for Problem {
    fn into_response(self) -> Response {
        let wire = Wire {
            title: self.title,
            status: self.status.as_u16(),
            detail: &self.detail,
            errors: (!self.faults.is_empty()).then_some(&self.faults),
        };
        let body = serde_json::to_string(&wire).expect("text and numbers are JSON");
        let about = [(header::CONTENT_TYPE, "application/problem+json"), (header::CACHE_CONTROL, "no-store")];
        let mut response = (self.status, about, body).into_response();
        if self.status == StatusCode::UNAUTHORIZED {
            response.headers_mut().insert(header::WWW_AUTHENTICATE, HeaderValue::from_static("Bearer"));
        }
        response
    }
}
