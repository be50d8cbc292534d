//! Who asks, and who may come in.

use std::collections::BTreeSet;
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
use crate::desk::people::{self, NewPerson, Visitor};
use crate::desk::problem::Problem;
use crate::ledger::{Person, PersonNo};
use crate::model::{Action, EventTime, Id, Reach, Role};

/// Whoever asks.
#[derive(Serialize, ToSchema)]
struct Me {
    name: String,
    /// `viewer`, `technician`, `manager` or `owner`.
    #[schema(value_type = String)]
    role: Role,
    /// Properties within reach; none for all.
    properties: Option<Vec<String>>,
    /// What this session or key may be used for: `see`, `attend`, `plan`, `govern`.
    #[schema(value_type = Vec<String>)]
    may: Vec<Action>,
}

/// Somebody who may come in.
#[derive(Serialize, ToSchema)]
struct PersonWire {
    number: u64,
    name: String,
    #[schema(value_type = String)]
    role: Role,
    /// Properties within reach; none for all.
    properties: Option<Vec<String>>,
    #[schema(value_type = String, format = DateTime)]
    since: EventTime,
}

/// What somebody may do and see.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct Standing {
    /// `viewer`, `technician`, `manager` or `owner`.
    #[schema(value_type = String)]
    role: Role,
    /// Properties within reach; all without.
    properties: Option<BTreeSet<String>>,
}

/// Somebody to let in.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct NewPersonWire {
    name: String,
    /// 12 characters or more.
    password: String,
    /// `viewer`, `technician`, `manager` or `owner`.
    #[schema(value_type = String)]
    role: Role,
    /// Properties within reach; all without.
    properties: Option<BTreeSet<String>>,
}

/// A password.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct Password {
    /// 12 characters or more.
    password: String,
}

/// The number of what was made.
#[derive(Serialize, ToSchema)]
struct Number {
    number: u64,
}

pub(super) fn routes() -> OpenApiRouter<Arc<Office>> {
    OpenApiRouter::new()
        .routes(routes!(me))
        .routes(routes!(everybody, add))
        .routes(routes!(change, remove))
        .routes(routes!(set_password))
}

fn names(reach: &Reach) -> Option<Vec<String>> {
    match reach {
        Reach::Everywhere => None,
        Reach::Properties(ids) => Some(ids.iter().map(ToString::to_string).collect()),
    }
}

fn reach(properties: Option<BTreeSet<String>>) -> Result<Reach, Problem> {
    let Some(properties) = properties else { return Ok(Reach::Everywhere) };
    let ids: Result<BTreeSet<Id>, _> = properties.iter().map(|id| Id::new(id)).collect();
    Ok(Reach::Properties(ids.map_err(|fault| Problem::wrong(fault.to_string()))?))
}

/// Who asks.
#[utoipa::path(get, path = "/me", tag = "people", responses((status = 200, body = Me)))]
async fn me(visitor: Visitor) -> Json<Me> {
    Json(Me {
        name: visitor.name().to_owned(),
        role: visitor.role(),
        properties: names(visitor.reach()),
        may: Action::ALL.into_iter().filter(|action| visitor.may(*action)).collect(),
    })
}

/// Everybody who may come in, by name.
#[utoipa::path(get, path = "/people", tag = "people", responses((status = 200, body = Vec<PersonWire>)))]
async fn everybody(
    visitor: Visitor,
    State(office): State<Arc<Office>>,
) -> Result<Json<Vec<PersonWire>>, Problem> {
    let people = people::people(&office, &visitor).await?;
    Ok(Json(people.into_iter().map(wire).collect()))
}

fn wire(person: Person) -> PersonWire {
    PersonWire {
        number: person.no.0,
        name: person.name.into(),
        role: person.role,
        properties: names(&person.reach),
        since: person.created_at,
    }
}

/// Lets somebody in.
#[utoipa::path(post, path = "/people", tag = "people", request_body = NewPersonWire,
    responses((status = 201, body = Number)))]
async fn add(
    visitor: Visitor,
    State(office): State<Arc<Office>>,
    Sent(sent): Sent<NewPersonWire>,
) -> Result<(StatusCode, Json<Number>), Problem> {
    let reach = reach(sent.properties)?;
    let new = NewPerson { name: sent.name, password: sent.password, role: sent.role, reach };
    let PersonNo(number) = people::add(&office, &visitor, new).await?;
    Ok((StatusCode::CREATED, Json(Number { number })))
}

/// Changes what somebody may do and see.
#[utoipa::path(put, path = "/people/{number}", tag = "people", params(("number" = u64, Path)),
    request_body = Standing, responses((status = 204)))]
async fn change(
    visitor: Visitor,
    State(office): State<Arc<Office>>,
    Part(number): Part<u64>,
    Sent(standing): Sent<Standing>,
) -> Result<StatusCode, Problem> {
    let reach = reach(standing.properties)?;
    people::change(&office, &visitor, PersonNo(number), standing.role, reach).await?;
    Ok(StatusCode::NO_CONTENT)
}

/// Gives somebody another password, and signs their browsers out.
#[utoipa::path(put, path = "/people/{number}/password", tag = "people", params(("number" = u64, Path)),
    request_body = Password, responses((status = 204)))]
async fn set_password(
    visitor: Visitor,
    State(office): State<Arc<Office>>,
    Part(number): Part<u64>,
    Sent(sent): Sent<Password>,
) -> Result<StatusCode, Problem> {
    people::reset_password(&office, &visitor, PersonNo(number), sent.password).await?;
    Ok(StatusCode::NO_CONTENT)
}

/// Takes somebody out, with all that they came in by.
#[utoipa::path(delete, path = "/people/{number}", tag = "people", params(("number" = u64, Path)),
    responses((status = 204)))]
async fn remove(
    visitor: Visitor,
    State(office): State<Arc<Office>>,
    Part(number): Part<u64>,
) -> Result<StatusCode, Problem> {
    people::remove(&office, &visitor, PersonNo(number)).await?;
    Ok(StatusCode::NO_CONTENT)
}
