//! Signing in with a name and a password, for programs that act in a browser's stead.
//!
//! A session comes as the cookie that a browser gets, and what changes something under it brings `x-csrf-token`
//! along, as a browser's forms do. Programs that run by themselves are better off with a key.

use std::sync::Arc;

use axum::Json;
use axum::extract::State;
use axum::http::{Extensions, HeaderMap, HeaderName, HeaderValue, StatusCode, header};
use axum::response::{AppendHeaders, IntoResponse};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use super::asked::Sent;
use crate::desk::office::Office;
use crate::desk::people::{self, Visitor, cookie};
use crate::desk::problem::Problem;
use crate::secrets::Token;

/// Whoever signs in.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct Credentials {
    name: String,
    password: String,
}

/// Whoever comes first, with the code that the daemon printed.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct Founder {
    /// As the daemon printed it when it started.
    code: String,
    name: String,
    /// 12 characters or more.
    password: String,
}

/// The present password and the one in its place.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct NewPassword {
    present: String,
    /// 12 characters or more.
    password: String,
}

/// A session that began. It comes as a cookie.
#[derive(Serialize, ToSchema)]
struct Begun {
    /// What to send as `x-csrf-token` with every request that changes something.
    csrf: String,
    /// How long the session lasts, seconds.
    lasts_s: i64,
}

type Signed = (StatusCode, AppendHeaders<[(HeaderName, HeaderValue); 1]>, Json<Begun>);

pub(super) fn routes() -> OpenApiRouter<Arc<Office>> {
    OpenApiRouter::new().routes(routes!(begin, end)).routes(routes!(found)).routes(routes!(set_password))
}

fn begun(token: &Token, headers: &HeaderMap) -> Signed {
    let cookie = cookie::give(token, cookie::is_over_tls(headers));
    let begun = Begun { csrf: people::forms_secret(token), lasts_s: cookie::LASTS.millis() / 1000 };
    (StatusCode::CREATED, AppendHeaders([(header::SET_COOKIE, cookie)]), Json(begun))
}

/// Signs in. Attempts are counted together with those on the page: after a few wrong ones it takes a wait.
#[utoipa::path(post, path = "/session", tag = "people", request_body = Credentials, security(()),
    responses((status = 201, body = Begun)))]
async fn begin(
    State(office): State<Arc<Office>>,
    headers: HeaderMap,
    extensions: Extensions,
    Sent(sent): Sent<Credentials>,
) -> Result<Signed, Problem> {
    let from = people::peer(&extensions);
    let token = people::sign_in(&office, &sent.name, &sent.password, from).await?;
    Ok(begun(&token, &headers))
}

/// Signs out. A key is not a session, and is revoked instead.
#[utoipa::path(delete, path = "/session", tag = "people", responses((status = 204)))]
async fn end(
    visitor: Visitor,
    State(office): State<Arc<Office>>,
    headers: HeaderMap,
) -> Result<impl IntoResponse, Problem> {
    if !people::sign_out(&office, &visitor).await? {
        return Err(Problem::conflict("this request came without a session: there is nothing to end"));
    }
    let cookie = cookie::take(cookie::is_over_tls(&headers));
    Ok((StatusCode::NO_CONTENT, AppendHeaders([(header::SET_COOKIE, cookie)])))
}

/// Makes the first owner of whoever has the daemon's code, and signs them in.
#[utoipa::path(post, path = "/first-owner", tag = "people", request_body = Founder, security(()),
    responses((status = 201, body = Begun)))]
async fn found(
    State(office): State<Arc<Office>>,
    headers: HeaderMap,
    extensions: Extensions,
    Sent(sent): Sent<Founder>,
) -> Result<Signed, Problem> {
    let from = people::peer(&extensions);
    let token = people::found(&office, &sent.code, &sent.name, sent.password, from).await?;
    Ok(begun(&token, &headers))
}

/// Changes the asker's own password; other browsers of theirs are signed out.
#[utoipa::path(put, path = "/me/password", tag = "people", request_body = NewPassword,
    responses((status = 204)))]
async fn set_password(
    visitor: Visitor,
    State(office): State<Arc<Office>>,
    extensions: Extensions,
    Sent(sent): Sent<NewPassword>,
) -> Result<StatusCode, Problem> {
    let from = people::peer(&extensions);
    people::change_password(&office, &visitor, sent.present, sent.password, from).await?;
    Ok(StatusCode::NO_CONTENT)
}
