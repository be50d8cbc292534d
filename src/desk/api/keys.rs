//! The asker's own keys for programs.

use std::sync::Arc;

use axum::Json;
use axum::extract::State;
use axum::http::StatusCode;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use super::asked::{Part, Sent};
use crate::desk::office::Office;
use crate::desk::people::{self, Visitor};
use crate::desk::problem::Problem;
use crate::model::{Action, EventTime};

/// A key, without its secret.
#[derive(Serialize, ToSchema)]
struct KeyWire {
    number: u64,
    label: String,
    /// What it may be used for, of what its person may.
    #[schema(value_type = Vec<String>)]
    scopes: Vec<Action>,
    #[schema(value_type = String, format = DateTime)]
    since: EventTime,
    /// Until when it is good; for ever without.
    #[schema(value_type = Option<String>, format = DateTime)]
    ends: Option<EventTime>,
}

/// A key to make.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct NewKey {
    /// What it is for, 1 to 80 characters.
    label: String,
    /// What it may be used for: `see`, `attend`, `plan`, `govern`.
    #[schema(value_type = Vec<String>)]
    scopes: Vec<Action>,
    /// Until when it is good; for ever without.
    #[schema(value_type = Option<String>, format = DateTime)]
    ends: Option<EventTime>,
}

/// A key just made.
#[derive(Serialize, ToSchema)]
struct MadeKey {
    number: u64,
    /// What to send as `Authorization: Bearer`; told this once.
    key: String,
}

pub(super) fn routes() -> OpenApiRouter<Arc<Office>> {
    OpenApiRouter::new().routes(routes!(keys, add)).routes(routes!(revoke))
}

/// The asker's keys, oldest first.
#[utoipa::path(get, path = "/keys", tag = "people", responses((status = 200, body = Vec<KeyWire>)))]
async fn keys(visitor: Visitor, State(office): State<Arc<Office>>) -> Result<Json<Vec<KeyWire>>, Problem> {
    let wire = |key: crate::ledger::Key| KeyWire {
        number: key.no,
        label: key.label,
        scopes: key.scopes,
        since: key.created_at,
        ends: key.ends_at,
    };
    Ok(Json(people::keys(&office, &visitor).await?.into_iter().map(wire).collect()))
}

/// Makes a key in the asker's name, good for no more than the asker may.
#[utoipa::path(post, path = "/keys", tag = "people", request_body = NewKey,
    responses((status = 201, body = MadeKey)))]
async fn add(
    visitor: Visitor,
    State(office): State<Arc<Office>>,
    Sent(new): Sent<NewKey>,
) -> Result<(StatusCode, Json<MadeKey>), Problem> {
    let (number, token) = people::add_key(&office, &visitor, &new.label, new.scopes, new.ends).await?;
    Ok((StatusCode::CREATED, Json(MadeKey { number, key: token.reveal().to_owned() })))
}

/// Makes a key of the asker's useless.
#[utoipa::path(delete, path = "/keys/{number}", tag = "people", params(("number" = u64, Path)),
    responses((status = 204)))]
async fn revoke(
    visitor: Visitor,
    State(office): State<Arc<Office>>,
    Part(number): Part<u64>,
) -> Result<StatusCode, Problem> {
    people::revoke_key(&office, &visitor, number).await?;
    Ok(StatusCode::NO_CONTENT)
}
