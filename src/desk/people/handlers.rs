//! The pages about people: the way in, one's own page, and who else may come in.

use std::collections::BTreeSet;
use std::sync::Arc;

use axum::Router;
use axum::extract::{Path, Query, State};
use axum::http::{Extensions, HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Redirect, Response};
use axum::routing::{get, post};
use serde::Deserialize;

use super::fields::Fields;
use super::pages::{self, AccountSheet, PeopleSheet, Tried};
use super::staff::{self, NewPerson};
use super::visitor::Visitor;
use super::{cookie, door};
use crate::desk::answer::html;
use crate::desk::office::{Entry, Office};
use crate::desk::problem::Problem;
use crate::desk::visit::ask;
use crate::ledger::PersonNo;
use crate::model::{Action, Id, Reach, Role};
use crate::secrets::Token;

type Shared = State<Arc<Office>>;

/// The addresses of these pages.
pub(in crate::desk) fn routes() -> Router<Arc<Office>> {
    Router::new()
        .route("/welcome", get(welcome).post(set_up))
        .route("/sign-in", get(sign_in).post(signed_in))
        .route("/sign-out", post(sign_out))
        .route("/account", get(account))
        .route("/account/password", post(change_password))
        .route("/account/keys", post(add_key))
        .route("/account/keys/{no}/revoke", post(revoke_key))
        .route("/people", get(people).post(add_person))
        .route("/people/{no}", post(change_person))
        .route("/people/{no}/password", post(reset_password))
        .route("/people/{no}/remove", post(remove_person))
}

/// Where to go after signing in.
#[derive(Debug, Deserialize)]
struct To {
    #[serde(default)]
    to: String,
}

/// An address within the desk; the first page for anything else (an open redirect would serve phishing).
fn within(to: &str) -> &str {
    let plain = to.starts_with('/') && !to.starts_with("//") && !to.contains(['\\', '\n', '\r']);
    if plain { to } else { "/" }
}

/// Whether the first person is still to come, with the daemon's code.
async fn awaits_first(office: &Office) -> Result<bool, Problem> {
    Ok(matches!(office.desk.entry, Entry::SetUp { .. })
        && !ask(office, crate::ledger::View::has_people).await?)
}

/// `GET /welcome`
async fn welcome(State(office): Shared) -> Response {
    match awaits_first(&office).await {
        Ok(true) => html(pages::welcome(&office.chrome_outside(), &Tried::default())),
        Ok(false) => Redirect::to("/sign-in").into_response(),
        Err(problem) => problem.into_response(),
    }
}

/// `POST /welcome`
async fn set_up(
    State(office): Shared,
    headers: HeaderMap,
    extensions: Extensions,
    fields: Fields,
) -> Response {
    let from = door::peer(&extensions);
    let (name, password) = (fields.get("name"), fields.get("password"));
    let made = if password == fields.get("again") {
        staff::found(&office, fields.get("code"), name, password.to_owned(), from).await
    } else {
        Err(Problem::wrong("the two passwords differ"))
    };
    match made {
        Ok(token) => let_in(&token, "/", &headers),
        Err(problem) => {
            let tried = Tried { name: name.to_owned(), problem: Some(problem.detail().to_owned()) };
            (problem.status(), html(pages::welcome(&office.chrome_outside(), &tried))).into_response()
        }
    }
}

/// `GET /sign-in`
async fn sign_in(State(office): Shared, Query(query): Query<To>) -> Response {
    match awaits_first(&office).await {
        Ok(true) => Redirect::to("/welcome").into_response(),
        Ok(false) => html(pages::sign_in(&office.chrome_outside(), within(&query.to), &Tried::default())),
        Err(problem) => problem.into_response(),
    }
}

/// `POST /sign-in`
async fn signed_in(
    State(office): Shared,
    headers: HeaderMap,
    extensions: Extensions,
    fields: Fields,
) -> Response {
    let to = within(fields.get("to"));
    let name = fields.get("name");
    match staff::sign_in(&office, name, fields.get("password"), door::peer(&extensions)).await {
        Ok(token) => let_in(&token, to, &headers),
        Err(problem) => {
            let tried = Tried { name: name.to_owned(), problem: Some(problem.detail().to_owned()) };
            (problem.status(), html(pages::sign_in(&office.chrome_outside(), to, &tried))).into_response()
        }
    }
}

fn let_in(token: &Token, to: &str, headers: &HeaderMap) -> Response {
    let cookie = cookie::give(token, cookie::is_over_tls(headers));
    ([(header::SET_COOKIE, cookie)], Redirect::to(to)).into_response()
}

/// `POST /sign-out`
async fn sign_out(visitor: Visitor, State(office): Shared, headers: HeaderMap) -> Response {
    match staff::sign_out(&office, &visitor).await {
        Ok(_) => {
            let cookie = cookie::take(cookie::is_over_tls(&headers));
            ([(header::SET_COOKIE, cookie)], Redirect::to("/sign-in")).into_response()
        }
        Err(problem) => problem.into_response(),
    }
}

/// `GET /account`
async fn account(visitor: Visitor, State(office): Shared) -> Response {
    account_page(&office, &visitor, None, None).await
}

async fn account_page(
    office: &Office,
    visitor: &Visitor,
    problem: Option<Problem>,
    new_key: Option<&Token>,
) -> Response {
    let keys = match staff::keys(office, visitor).await {
        Ok(keys) => keys,
        Err(problem) => return problem.into_response(),
    };
    let sheet = AccountSheet {
        name: visitor.name().to_owned(),
        role: visitor.role(),
        reach: visitor.reach().clone(),
        signed_in: visitor.person().is_some(),
        keys,
        new_key: new_key.map(|token| token.reveal().to_owned()),
        problem: problem.as_ref().map(|problem| problem.detail().to_owned()),
        scopes: Action::ALL.into_iter().filter(|action| visitor.may(*action)).collect(),
    };
    let status = problem.map_or(StatusCode::OK, |problem| problem.status());
    (status, html(pages::account(&office.chrome(visitor, 0), &sheet))).into_response()
}

/// After a change: back to where it was asked for, or the same page with what is wrong.
async fn back_to_account(office: &Office, visitor: &Visitor, done: Result<(), Problem>) -> Response {
    match done {
        Ok(()) => Redirect::to("/account").into_response(),
        Err(problem) => account_page(office, visitor, Some(problem), None).await,
    }
}

/// `POST /account/password`
async fn change_password(
    visitor: Visitor,
    State(office): Shared,
    extensions: Extensions,
    fields: Fields,
) -> Response {
    let new = fields.get("password").to_owned();
    let done = if new == fields.get("again") {
        let current = fields.get("current").to_owned();
        staff::change_password(&office, &visitor, current, new, door::peer(&extensions)).await
    } else {
        Err(Problem::wrong("the two passwords differ"))
    };
    back_to_account(&office, &visitor, done).await
}

/// `POST /account/keys`
async fn add_key(visitor: Visitor, State(office): Shared, fields: Fields) -> Response {
    let scopes = fields.all("scope").filter_map(Action::named).collect();
    match staff::add_key(&office, &visitor, fields.get("label"), scopes, None).await {
        Ok((_, token)) => account_page(&office, &visitor, None, Some(&token)).await,
        Err(problem) => account_page(&office, &visitor, Some(problem), None).await,
    }
}

/// `POST /account/keys/{no}/revoke`
async fn revoke_key(visitor: Visitor, State(office): Shared, Path(no): Path<u64>) -> Response {
    let done = staff::revoke_key(&office, &visitor, no).await;
    back_to_account(&office, &visitor, done).await
}

/// `GET /people`
async fn people(visitor: Visitor, State(office): Shared) -> Response {
    people_page(&office, &visitor, None).await
}

async fn people_page(office: &Office, visitor: &Visitor, problem: Option<Problem>) -> Response {
    let people = match staff::people(office, visitor).await {
        Ok(people) => people,
        Err(problem) => return problem.into_response(),
    };
    let properties: BTreeSet<Id> =
        office.systems(visitor).iter().map(|system| system.property.clone()).collect();
    let sheet = PeopleSheet {
        people,
        me: visitor.person(),
        properties: properties.into_iter().collect(),
        problem: problem.as_ref().map(|problem| problem.detail().to_owned()),
    };
    let status = problem.map_or(StatusCode::OK, |problem| problem.status());
    (status, html(pages::people(&office.chrome(visitor, 0), &sheet))).into_response()
}

async fn back_to_people(office: &Office, visitor: &Visitor, done: Result<(), Problem>) -> Response {
    match done {
        Ok(()) => Redirect::to("/people").into_response(),
        Err(problem) => people_page(office, visitor, Some(problem)).await,
    }
}

/// Role and reach as the form gives them.
fn standing(fields: &Fields) -> Result<(Role, Reach), Problem> {
    let role = Role::named(fields.get("role")).ok_or_else(|| Problem::wrong("choose a role"))?;
    if fields.get("reach") != "some" {
        return Ok((role, Reach::Everywhere));
    }
    let properties: Result<BTreeSet<Id>, _> = fields.all("property").map(Id::new).collect();
    let properties = properties.map_err(|fault| Problem::wrong(fault.to_string()))?;
    if properties.is_empty() {
        return Err(Problem::wrong("choose at least one property, or all of them"));
    }
    Ok((role, Reach::Properties(properties)))
}

/// `POST /people`
async fn add_person(visitor: Visitor, State(office): Shared, fields: Fields) -> Response {
    let done = async {
        let (role, reach) = standing(&fields)?;
        let (name, password) = (fields.get("name").to_owned(), fields.get("password").to_owned());
        staff::add(&office, &visitor, NewPerson { name, password, role, reach }).await
    };
    let done = done.await.map(|_| ());
    back_to_people(&office, &visitor, done).await
}

/// `POST /people/{no}`
async fn change_person(
    visitor: Visitor,
    State(office): Shared,
    Path(no): Path<u64>,
    fields: Fields,
) -> Response {
    let done = async {
        let (role, reach) = standing(&fields)?;
        staff::change(&office, &visitor, PersonNo(no), role, reach).await
    };
    let done = done.await;
    back_to_people(&office, &visitor, done).await
}

/// `POST /people/{no}/password`
async fn reset_password(
    visitor: Visitor,
    State(office): Shared,
    Path(no): Path<u64>,
    fields: Fields,
) -> Response {
    let password = fields.get("password").to_owned();
    let done = staff::reset_password(&office, &visitor, PersonNo(no), password).await;
    back_to_people(&office, &visitor, done).await
}

/// `POST /people/{no}/remove`
async fn remove_person(visitor: Visitor, State(office): Shared, Path(no): Path<u64>) -> Response {
    let done = staff::remove(&office, &visitor, PersonNo(no)).await;
    back_to_people(&office, &visitor, done).await
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn after_signing_in_nobody_is_led_elsewhere() {
        for to in ["//evil.example", "https://evil.example", "/\\evil.example", "", "evil"] {
            assert_eq!(within(to), "/", "{to}");
        }
        assert_eq!(within("/systems/terrace?days=7"), "/systems/terrace?days=7");
    }
}
