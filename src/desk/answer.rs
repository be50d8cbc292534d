//! Answers: pages, fragments, and the one map from faults to status codes.

use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use tracing::error;

use super::office::Office;
use super::pages;
use super::people::Visitor;
use super::setup;
use crate::ledger::LedgerFault;
use crate::model::Action;
use crate::telemetry::chain;

/// Why there is no page.
#[derive(Debug)]
pub(super) enum Fault {
    /// No page has this address.
    NoPage,
    /// No system has this id.
    NoSystem(String),
    /// It shows more than the visitor may see.
    Beyond,
    /// The desk is only read from.
    Method,
    /// The ledger cannot be read.
    Ledger(LedgerFault),
}

/// HTML that is asked for again each time.
pub(super) fn html(text: String) -> Response {
    let about =
        [(header::CONTENT_TYPE, "text/html; charset=utf-8"), (header::CACHE_CONTROL, "private, no-cache")];
    (about, text).into_response()
}

impl From<LedgerFault> for Fault {
    fn from(fault: LedgerFault) -> Self {
        Self::Ledger(fault)
    }
}

impl Fault {
    /// Where whoever may can change that, in words.
    fn mend(&self, office: &Office, visitor: &Visitor) -> Option<(String, &'static str)> {
        let Self::NoSystem(id) = self else { return None };
        if !visitor.may(Action::Plan) {
            return None;
        }
        if setup::retired(office, visitor, id).is_some() {
            return Some((format!("/setup/{id}/retire"), "Look at it, or bring it back"));
        }
        let is_faulty = office.faulty(visitor).iter().any(|file| file.is_of(id));
        is_faulty.then(|| (format!("/setup/{id}"), "What is wrong with its file, and how to mend it"))
    }

    /// The page that says so.
    pub(super) fn page(&self, office: &Office, visitor: &Visitor) -> Response {
        let (status, heading, says) = match self {
            Self::NoPage => (
                StatusCode::NOT_FOUND,
                "There is no such page",
                "The address may be mistyped, or what it led to was renamed, removed, or moved by a newer version. Look for \
                 it under its name below; then keep the new address in place of the old one."
                    .to_owned(),
            ),
            Self::NoSystem(id) if setup::retired(office, visitor, id).is_some() => (
                StatusCode::NOT_FOUND,
                "This system is retired",
                "It is watched no more. What was measured and done there is kept, and can be read again once somebody who \
                 plans brings it back."
                    .to_owned(),
            ),
            Self::NoSystem(id) if office.faulty(visitor).iter().any(|file| file.is_of(id)) => (
                StatusCode::NOT_FOUND,
                "This system is not watched",
                "Its system file cannot be read, so that nobody is told of a flood there. What was measured and done there \
                 is kept, and can be read again once somebody who sets systems up has mended the file."
                    .to_owned(),
            ),
            Self::NoSystem(id) => (
                StatusCode::NOT_FOUND,
                "There is no such system",
                format!(
                    "No system file has the id “{id}” now. It may have been renamed or taken out of service: look for it \
                     by the name of its yard or property below. If it should be there, ask whoever looks after the system \
                     files."
                ),
            ),
            Self::Beyond => (
                StatusCode::FORBIDDEN,
                "This is not open to you",
                "It tells about properties that you do not look after. If you should, ask whoever invited you to add them."
                    .to_owned(),
            ),
            Self::Method => (
                StatusCode::METHOD_NOT_ALLOWED,
                "These pages are only for reading",
                "Nothing can be sent to this address, and nothing was changed. Go back, load the page again and send the \
                 form from there."
                    .to_owned(),
            ),
            Self::Ledger(fault) => {
                error!(error = %chain(fault), "cannot show a page");
                (
                    StatusCode::SERVICE_UNAVAILABLE,
                    "The ledger cannot be read just now",
                    "Readings may still be coming in. Try again in a minute; if it lasts, the daemon's log says \
                     why."
                    .to_owned(),
                )
            }
        };
        let mend = self.mend(office, visitor);
        let mend = mend.as_ref().map(|(address, words)| (address.as_str(), *words));
        (status, html(pages::fault(&office.chrome(visitor, 0), heading, &says, mend))).into_response()
    }
}
