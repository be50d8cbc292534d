//! The one who asks: every handler takes a [`Visitor`] and shows nothing that is beyond their reach.

use std::sync::Arc;

use axum::extract::{FromRequestParts, Request};
use axum::http::StatusCode;
use axum::http::request::Parts;
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};

use crate::model::{Action, Id, Reach, Role};

/// Somebody whose request was let in.
#[derive(Clone, Debug)]
pub(in crate::desk) struct Visitor(Arc<Known>);

#[derive(Debug)]
struct Known {
    name: String,
    role: Role,
    reach: Reach,
}

impl Visitor {
    pub(in crate::desk) fn new(name: &str, role: Role, reach: Reach) -> Self {
        Self(Arc::new(Known { name: name.to_owned(), role, reach }))
    }

    /// The name to write beside what they did.
    #[expect(dead_code, reason = "the pages that record what people did come next")]
    pub(in crate::desk) fn name(&self) -> &str {
        &self.0.name
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
    #[expect(dead_code, reason = "the pages that record what people did come next")]
    pub(in crate::desk) fn may(&self, action: Action) -> bool {
        self.0.role.may(action)
    }
}

impl<S: Sync> FromRequestParts<S> for Visitor {
    type Rejection = Response;

    async fn from_request_parts(parts: &mut Parts, _: &S) -> Result<Self, Response> {
        // A route outside the door's guard has no visitor, and must not show anything.
        let refusal = || (StatusCode::UNAUTHORIZED, "Sign in first.\n").into_response();
        parts.extensions.get::<Self>().cloned().ok_or_else(refusal)
    }
}

/// Lets the request in as the owner of this machine.
pub(in crate::desk) async fn welcome(mut request: Request, next: Next) -> Response {
    request.extensions_mut().insert(Visitor::new("this machine", Role::Owner, Reach::Everywhere));
    next.run(request).await
}
