//! Tells open pages what changed, as server-sent events (WHATWG HTML, section 9.2).
//!
//! One event kind, `board`: the state's stamp, the time, the broker's state in words, and the names
//! of the changed parts of the first page (`null` for all of them). It is sent on connecting, on
//! changes at most every [`PACE`], and every [`PULSE`] so that ages stay right.

use std::convert::Infallible;
use std::sync::Arc;
use std::time::Duration;

use axum::extract::{Query, State};
use axum::http::StatusCode;
use axum::response::sse::{Event, Sse};
use axum::response::{IntoResponse, Response};
use futures_util::stream;
use serde::{Deserialize, Serialize};
use tokio::sync::{OwnedSemaphorePermit, watch};
use tracing::error;

use super::office::{LinkNote, Office};
use super::people::{Visitor, is_still_welcome};
use super::shelf::Changed;
use crate::model::System;
use crate::telemetry::chain;

/// Shortest time between two events.
const PACE: Duration = Duration::from_millis(500);
/// Longest time between two events.
const PULSE: Duration = Duration::from_secs(15);

/// What an open page shows already.
#[derive(Debug, Deserialize)]
pub(super) struct Since {
    /// Stamp of the board it was drawn from.
    #[serde(default)]
    since: u64,
}

#[derive(Debug, Serialize)]
struct BoardEvent {
    stamp: u64,
    now: i64,
    link: String,
    parts: Option<Vec<String>>,
}

/// One open page.
struct Viewer {
    visitor: Visitor,
    office: Arc<Office>,
    since: u64,
    greeted: bool,
    commits: watch::Receiver<u64>,
    systems: watch::Receiver<Arc<Vec<Arc<System>>>>,
    link: watch::Receiver<LinkNote>,
    ending: watch::Receiver<bool>,
    _seat: OwnedSemaphorePermit,
}

/// `GET /live`
pub(super) async fn live(
    visitor: Visitor,
    State(office): State<Arc<Office>>,
    Query(page): Query<Since>,
) -> Response {
    let Ok(seat) = Arc::clone(&office.viewers).try_acquire_owned() else {
        return (StatusCode::SERVICE_UNAVAILABLE, "Too many pages are open; refresh by hand.")
            .into_response();
    };
    let viewer = Viewer {
        visitor,
        since: page.since,
        greeted: false,
        commits: office.desk.commits.clone(),
        systems: office.desk.systems.clone(),
        link: office.desk.link.clone(),
        ending: office.ending.clone(),
        office,
        _seat: seat,
    };
    let events = stream::unfold(viewer, |mut viewer| async {
        let event = viewer.next().await?;
        Some((Ok::<_, Infallible>(event), viewer))
    });
    Sse::new(events).into_response()
}

impl Viewer {
    /// The next event; `None` when the daemon ends.
    async fn next(&mut self) -> Option<Event> {
        if std::mem::replace(&mut self.greeted, true) {
            self.wait().await?;
        }
        // What is marked seen here is on the board that is asked for next.
        self.commits.mark_unchanged();
        self.systems.mark_unchanged();
        self.link.mark_unchanged();
        let board = match self.office.shelf.latest(self.visitor.reach()).await {
            Ok(board) => board,
            Err(fault) => {
                error!(error = %chain(&fault), "cannot tell open pages what changed");
                return Some(Event::default().comment("the ledger cannot be read"));
            }
        };
        let parts = match board.changed_since(self.since) {
            Changed::Everything => None,
            Changed::Parts(names) => Some(names),
        };
        self.since = board.stamp;
        let chrome = self.office.chrome(&self.visitor, board.stamp);
        let data = BoardEvent {
            stamp: board.stamp,
            now: self.office.now().millis(),
            link: chrome.link_words(),
            parts,
        };
        Some(Event::default().event("board").json_data(data).expect("numbers and strings are JSON"))
    }

    /// Waits for a change, for long enough, or returns `None` at the end.
    async fn wait(&mut self) -> Option<()> {
        let paced = async {
            tokio::time::sleep(PACE).await;
            tokio::select! {
                changed = self.commits.changed() => changed.is_ok(),
                changed = self.systems.changed() => changed.is_ok(),
                changed = self.link.changed() => changed.is_ok(),
                () = tokio::time::sleep(PULSE) => true,
            }
        };
        let goes_on = tokio::select! {
            goes_on = paced => goes_on,
            _ = self.ending.wait_for(|ending| *ending) => false,
        };
        (goes_on && is_still_welcome(&self.office, &self.visitor).await).then_some(())
    }
}
