//! What the pages and the interface for programs do about people, said once.

use std::net::IpAddr;
use std::sync::Arc;

use super::cookie;
use super::visitor::Visitor;
use crate::desk::office::{Entry, Office};
use crate::desk::problem::Problem;
use crate::desk::visit::ask;
use crate::ledger::{Key, Order, PeopleOrder, Person, PersonNo, Reply};
use crate::model::{Action, EventTime, PersonName, Reach, Role};
use crate::secrets::{NoChance, Token, check_password, hash_password, same_text, verify_password};

/// Longest label of a key, characters.
const LABEL: usize = 80;

/// Somebody to be let in.
#[derive(Clone, Debug)]
pub(in crate::desk) struct NewPerson {
    pub(in crate::desk) name: String,
    pub(in crate::desk) password: String,
    pub(in crate::desk) role: Role,
    pub(in crate::desk) reach: Reach,
}

impl From<NoChance> for Problem {
    fn from(fault: NoChance) -> Self {
        Self::failed(fault.to_string())
    }
}

/// Signs a browser in; the token goes into its cookie.
pub(in crate::desk) async fn sign_in(
    office: &Arc<Office>,
    name: &str,
    password: &str,
    from: IpAddr,
) -> Result<Token, Problem> {
    let now = office.door.now();
    if let Some(wait) = office.door.attempts().wait(name, from, now) {
        return Err(too_many(wait.millis()));
    }
    let asked = name.trim().to_owned();
    let found = ask(office, move |view| view.person_named(&asked)).await?;
    let (person, hash) = found.map_or((None, None), |(person, hash)| (Some(person), Some(hash)));
    let right = verify(office, password.to_owned(), hash).await;
    let Some(person) = person.filter(|_| right) else {
        office.door.attempts().failed(name, from, now);
        return Err(Problem::forbidden("the name or the password is not right"));
    };
    office.door.attempts().succeeded(name, from);
    begin_session(office, person.no).await
}

fn too_many(wait_ms: i64) -> Problem {
    let minutes = wait_ms.div_euclid(60_000) + 1;
    Problem::too_many(format!("too many attempts: wait {minutes} min before the next"))
}

async fn begin_session(office: &Office, person: PersonNo) -> Result<Token, Problem> {
    let token = Token::new()?;
    let at = office.door.now();
    let order = PeopleOrder::BeginSession { person, token: token.print(), at, ends: at + cookie::LASTS };
    place(office, order).await?;
    Ok(token)
}

async fn place(office: &Office, order: PeopleOrder) -> Result<Reply, Problem> {
    Ok(office.desk.orders.place(Order::People(order)).await?)
}

async fn verify(office: &Office, password: String, hash: Option<String>) -> bool {
    let _turn = office.door.hashing.acquire().await.expect("it is never closed");
    tokio::task::spawn_blocking(move || verify_password(&password, hash.as_deref()))
        .await
        .expect("checking does not panic and is not aborted")
}

/// The hash of a password that will do for `name`.
async fn hashed(office: &Office, name: &str, password: String) -> Result<String, Problem> {
    check_password(name, &password).map_err(|fault| Problem::wrong(fault.to_string()))?;
    let _turn = office.door.hashing.acquire().await.expect("it is never closed");
    let hashed = tokio::task::spawn_blocking(move || hash_password(&password));
    Ok(hashed.await.expect("hashing does not panic and is not aborted")?)
}

/// Signs the visitor's browser out; tells whether there was a session to end.
pub(in crate::desk) async fn sign_out(office: &Office, visitor: &Visitor) -> Result<bool, Problem> {
    let Some(token) = visitor.session() else { return Ok(false) };
    place(office, PeopleOrder::EndSession { token }).await?;
    Ok(true)
}

/// Makes the first owner of whoever has the daemon's code, and signs their browser in.
pub(in crate::desk) async fn found(
    office: &Arc<Office>,
    code: &str,
    name: &str,
    password: String,
    from: IpAddr,
) -> Result<Token, Problem> {
    let Entry::SetUp { code: expected } = &office.desk.entry else {
        return Err(Problem::conflict("somebody has set this up already: sign in instead"));
    };
    let now = office.door.now();
    if let Some(wait) = office.door.attempts().wait("", from, now) {
        return Err(too_many(wait.millis()));
    }
    let code: String = code.to_uppercase().chars().filter(char::is_ascii_alphanumeric).collect();
    if !same_text(&code, &expected.replace('-', "")) {
        office.door.attempts().failed("", from, now);
        return Err(Problem::forbidden("this is not the code: the daemon printed it when it started"));
    }
    let name = person_name(name)?;
    let password = hashed(office, name.as_str(), password).await?;
    let (role, reach) = (Role::Owner, Reach::Everywhere);
    let added = place(office, PeopleOrder::Add { name, role, reach, password, first: true, at: now }).await?;
    begin_session(office, number(&added)).await
}

fn number(reply: &Reply) -> PersonNo {
    match reply {
        Reply::Number(no) => PersonNo(*no),
        Reply::Done => unreachable!("whoever is added gets a number"),
    }
}

fn person_name(text: &str) -> Result<PersonName, Problem> {
    PersonName::new(text).map_err(|fault| Problem::wrong(fault.to_string()))
}

/// Refuses visitors who may not do it.
pub(in crate::desk) fn only_if_may(visitor: &Visitor, action: Action) -> Result<(), Problem> {
    if visitor.may(action) {
        return Ok(());
    }
    let least = Role::ALL.into_iter().find(|role| role.may(action)).map_or("owner", Role::name);
    Err(Problem::forbidden(format!("this takes a {least}, with a key of scope `{}`", action.name())))
}

/// Everybody who may come in.
pub(in crate::desk) async fn people(office: &Office, visitor: &Visitor) -> Result<Vec<Person>, Problem> {
    only_if_may(visitor, Action::Govern)?;
    Ok(ask(office, crate::ledger::View::people).await?)
}

/// Lets somebody in.
pub(in crate::desk) async fn add(
    office: &Office,
    visitor: &Visitor,
    new: NewPerson,
) -> Result<PersonNo, Problem> {
    only_if_may(visitor, Action::Govern)?;
    let name = person_name(&new.name)?;
    let password = hashed(office, name.as_str(), new.password).await?;
    let (role, reach, at) = (new.role, new.reach, office.door.now());
    let added = place(office, PeopleOrder::Add { name, role, reach, password, first: false, at }).await?;
    Ok(number(&added))
}

/// Changes what somebody may do and see.
pub(in crate::desk) async fn change(
    office: &Office,
    visitor: &Visitor,
    person: PersonNo,
    role: Role,
    reach: Reach,
) -> Result<(), Problem> {
    only_if_may(visitor, Action::Govern)?;
    place(office, PeopleOrder::Change { person, role, reach }).await?;
    Ok(())
}

/// Gives somebody else another password, and signs their browsers out.
pub(in crate::desk) async fn reset_password(
    office: &Office,
    visitor: &Visitor,
    person: PersonNo,
    password: String,
) -> Result<(), Problem> {
    let everybody = people(office, visitor).await?;
    let known = everybody.iter().find(|known| known.no == person);
    let known = known.ok_or_else(|| Problem::not_found("there is no such person"))?;
    let password = hashed(office, known.name.as_str(), password).await?;
    place(office, PeopleOrder::SetPassword { person, password, except: visitor.session() }).await?;
    Ok(())
}

/// Takes somebody out.
pub(in crate::desk) async fn remove(
    office: &Office,
    visitor: &Visitor,
    person: PersonNo,
) -> Result<(), Problem> {
    only_if_may(visitor, Action::Govern)?;
    place(office, PeopleOrder::Remove { person }).await?;
    Ok(())
}

fn somebody(visitor: &Visitor) -> Result<PersonNo, Problem> {
    visitor.person().ok_or_else(|| Problem::conflict("nobody is signed in: add an owner first, then sign in"))
}

/// Changes the visitor's own password; other browsers of theirs are signed out.
pub(in crate::desk) async fn change_password(
    office: &Office,
    visitor: &Visitor,
    current: String,
    new: String,
    from: IpAddr,
) -> Result<(), Problem> {
    let person = somebody(visitor)?;
    let now = office.door.now();
    if let Some(wait) = office.door.attempts().wait(visitor.name(), from, now) {
        return Err(too_many(wait.millis()));
    }
    let name = visitor.name().to_owned();
    let hash = ask(office, move |view| view.person_named(&name)).await?.map(|(_, hash)| hash);
    if !verify(office, current, hash).await {
        office.door.attempts().failed(visitor.name(), from, now);
        return Err(Problem::forbidden("the present password is not right"));
    }
    let password = hashed(office, visitor.name(), new).await?;
    place(office, PeopleOrder::SetPassword { person, password, except: visitor.session() }).await?;
    Ok(())
}

/// The visitor's keys.
pub(in crate::desk) async fn keys(office: &Office, visitor: &Visitor) -> Result<Vec<Key>, Problem> {
    let Some(person) = visitor.person() else { return Ok(Vec::new()) };
    Ok(ask(office, move |view| view.keys(person)).await?)
}

/// Makes a key in the visitor's name. Its token is told once.
pub(in crate::desk) async fn add_key(
    office: &Office,
    visitor: &Visitor,
    label: &str,
    scopes: Vec<Action>,
    ends: Option<EventTime>,
) -> Result<(u64, Token), Problem> {
    let person = somebody(visitor)?;
    let label = label.trim();
    if !(1..=LABEL).contains(&label.chars().count()) || label.contains(char::is_control) {
        return Err(Problem::wrong("say in 1 to 80 characters what the key is for"));
    }
    if let Some(beyond) = scopes.iter().find(|scope| !visitor.may(**scope)) {
        return Err(Problem::forbidden(format!("you may not `{}` yourself", beyond.name())));
    }
    if scopes.is_empty() {
        return Err(Problem::wrong("name at least one scope: see, attend, plan or govern"));
    }
    let token = Token::new()?;
    let order = PeopleOrder::AddKey {
        person,
        token: token.print(),
        label: label.to_owned(),
        scopes,
        at: office.door.now(),
        ends,
    };
    let added = place(office, order).await?;
    Ok((number(&added).0, token))
}

/// Makes a key in the visitor's name that opens their calendar and nothing else.
pub(in crate::desk) async fn add_calendar(office: &Office, visitor: &Visitor) -> Result<Token, Problem> {
    let (person, token) = (somebody(visitor)?, Token::new()?);
    let order = PeopleOrder::AddKey {
        person,
        token: token.print(),
        label: "calendar".to_owned(),
        scopes: Vec::new(),
        at: office.door.now(),
        ends: None,
    };
    place(office, order).await?;
    Ok(token)
}

/// Makes one of the visitor's keys useless.
pub(in crate::desk) async fn revoke_key(office: &Office, visitor: &Visitor, key: u64) -> Result<(), Problem> {
    let person = somebody(visitor)?;
    place(office, PeopleOrder::RevokeKey { person, key }).await?;
    Ok(())
}
