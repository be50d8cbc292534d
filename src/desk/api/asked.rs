//! What programs send, refused as problem details where it cannot be read.

use axum::Json;
use axum::extract::{FromRequest, FromRequestParts, Path, Query, Request};
use axum::http::request::Parts;
use serde::de::DeserializeOwned;

use crate::desk::problem::Problem;

/// The query of an address.
#[derive(Debug)]
pub(super) struct Asked<T>(pub(super) T);

/// The part of the path that names something.
#[derive(Debug)]
pub(super) struct Part<T>(pub(super) T);

/// A JSON body.
#[derive(Debug)]
pub(super) struct Sent<T>(pub(super) T);

impl<T: DeserializeOwned, S: Send + Sync> FromRequestParts<S> for Asked<T> {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, state: &S) -> Result<Self, Problem> {
        let query = Query::from_request_parts(parts, state).await;
        query.map(|Query(asked)| Self(asked)).map_err(|rejection| Problem::wrong(rejection.body_text()))
    }
}

impl<T: DeserializeOwned + Send, S: Send + Sync> FromRequestParts<S> for Part<T> {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, state: &S) -> Result<Self, Problem> {
        let path = Path::from_request_parts(parts, state).await;
        path.map(|Path(part)| Self(part)).map_err(|rejection| Problem::wrong(rejection.body_text()))
    }
}

impl<T: DeserializeOwned, S: Send + Sync> FromRequest<S> for Sent<T> {
    type Rejection = Problem;

    async fn from_request(request: Request, state: &S) -> Result<Self, Problem> {
        let body = Json::from_request(request, state).await;
        body.map(|Json(sent)| Self(sent)).map_err(|rejection| Problem::wrong(rejection.body_text()))
    }
}
