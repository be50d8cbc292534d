//! The one who asks: every handler takes a [`Visitor`] and shows nothing that is beyond their reach.

use std::sync::Arc;

use axum::extract::FromRequestParts;
use axum::http::StatusCode;
use axum::http::request::Parts;
use axum::response::{IntoResponse, Response};

use crate::ledger::{Person, PersonNo};
use crate::model::{Action, Id, Reach, Role};
use crate::secrets::{Token, TokenPrint};

/// Somebody whose request was let in.
#[derive(Clone, Debug)]
pub(in crate::desk) struct Visitor(Arc<Known>);

#[derive(Debug)]
struct Known {
    /// `None` for whoever sits at a demonstration.
    person: Option<PersonNo>,
    name: String,
    role: Role,
    reach: Reach,
    came: Came,
}

/// What somebody came in by.
#[derive(Clone, Debug)]
enum Came {
    /// A browser that is signed in, or one that needs not be; the secret behind its forms.
    Browser(Token),
    /// A program's key, good for these actions.
    Key(TokenPrint, Vec<Action>),
}

/// What the forms of the browser with this session bring along.
pub(in crate::desk) fn forms_secret(session: &Token) -> String {
    session.derived("forms")
}

impl Visitor {
    /// Whoever sits before this machine while nobody was named yet.
    pub(super) fn at_home(forms: Token) -> Self {
        let name = "somebody at this computer".to_owned();
        let came = Came::Browser(forms);
        Self(Arc::new(Known { person: None, name, role: Role::Owner, reach: Reach::Everywhere, came }))
    }

    /// Somebody at a browser that is signed in.
    pub(super) fn at_browser(person: Person, session: Token) -> Self {
        Self::known(person, Came::Browser(session))
    }

    /// A program in somebody's name.
    pub(super) fn with_key(person: Person, key: TokenPrint, scopes: Vec<Action>) -> Self {
        Self::known(person, Came::Key(key, scopes))
    }

    fn known(person: Person, came: Came) -> Self {
        let Person { no, name, role, reach, .. } = person;
        Self(Arc::new(Known { person: Some(no), name: name.into(), role, reach, came }))
    }

    /// Their number; none at a demonstration.
    pub(in crate::desk) fn person(&self) -> Option<PersonNo> {
        self.0.person
    }

    /// The name to write beside what they did.
    pub(in crate::desk) fn name(&self) -> &str {
        &self.0.name
    }

    /// Their role.
    pub(in crate::desk) fn role(&self) -> Role {
        self.0.role
    }

    /// The properties within reach.
    pub(in crate::desk) fn reach(&self) -> &Reach {
        &self.0.reach
    }

    /// Whether they may see `property` and all that belongs to it.
    pub(in crate::desk) fn may_see(&self, property: &Id) -> bool {
        self.0.reach.covers(property)
    }

    /// Whether they may see what belongs to no property.
    pub(in crate::desk) fn sees_everything(&self) -> bool {
        self.0.reach == Reach::Everywhere
    }

    /// Whether they may do it, at the properties within reach.
    pub(in crate::desk) fn may(&self, action: Action) -> bool {
        let by_key = match &self.0.came {
            Came::Browser(_) => true,
            Came::Key(_, scopes) => scopes.contains(&action),
        };
        by_key && self.0.role.may(action)
    }

    /// What a form must bring along in its field `csrf`, to show that it is one of ours. None for programs.
    pub(in crate::desk) fn csrf(&self) -> Option<String> {
        match &self.0.came {
            Came::Browser(token) => Some(forms_secret(token)),
            Came::Key(..) => None,
        }
    }

    /// The browser's session, where somebody is signed in.
    pub(super) fn session(&self) -> Option<TokenPrint> {
        match &self.0.came {
            Came::Browser(token) if self.0.person.is_some() => Some(token.print()),
            Came::Browser(_) | Came::Key(..) => None,
        }
    }
}

impl Visitor {
    /// The key that a program came with.
    pub(super) fn key(&self) -> Option<TokenPrint> {
        match &self.0.came {
            Came::Key(key, _) => Some(*key),
            Came::Browser(_) => None,
        }
    }

    /// Whether `person` may no longer see or do the same as when they came in.
    pub(super) fn differs_from(&self, person: &Person) -> bool {
        self.0.person != Some(person.no) || self.0.role != person.role || self.0.reach != person.reach
    }
}

impl<S: Sync> FromRequestParts<S> for Visitor {
    type Rejection = Response;

    async fn from_request_parts(parts: &mut Parts, _: &S) -> Result<Self, Response> {
        // A route outside the door has no visitor, and must not show anything.
        let refusal = || (StatusCode::UNAUTHORIZED, "Sign in first.\n").into_response();
        parts.extensions.get::<Self>().cloned().ok_or_else(refusal)
    }
}
