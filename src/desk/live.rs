//! Tells open pages what changed, as server-sent events (WHATWG HTML, section 9.2).
//!
//! One event kind, `board`: the state's stamp, the time, the broker's state in words, what there is to say of systems
//! that learn anew, and the names
//! of the changed parts of the page that listens, as far as the address tells (`null` for all of them). It is sent on connecting, on
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

use super::learning::LearningNote;
use super::office::{LinkNote, Office};
use super::people::{Visitor, is_still_welcome};
use super::sheet::Filter;
use super::shelf::{Changed, Drawn};
use crate::model::System;
use crate::telemetry::chain;

/// Shortest time between two events. What comes after a quiet while is told at once.
const PACE: Duration = Duration::from_millis(200);
/// Longest time between two events.
const PULSE: Duration = Duration::from_secs(15);

/// What an open page shows already.
#[derive(Debug, Deserialize)]
pub(super) struct Shown {
    /// Stamp of the board it was drawn from.
    #[serde(default)]
    since: u64,
    /// The one system that it is about.
    system: Option<String>,
}

#[derive(Debug, Serialize)]
struct BoardEvent {
    stamp: u64,
    now: i64,
    link: String,
    learning: Option<String>,
    faulty: Option<String>,
    parts: Option<Vec<String>>,
}

/// One open page.
struct Viewer {
    visitor: Visitor,
    office: Arc<Office>,
    since: u64,
    system: Option<String>,
    filter: Filter,
    /// Digest of the systems that the filter let through last.
    choice: Option<u64>,
    greeted: bool,
    commits: watch::Receiver<u64>,
    systems: watch::Receiver<Arc<Vec<Arc<System>>>>,
    link: watch::Receiver<LinkNote>,
    learning: watch::Receiver<Arc<LearningNote>>,
    ending: watch::Receiver<bool>,
    _seat: OwnedSemaphorePermit,
}

/// `GET /live`
pub(super) async fn live(
    visitor: Visitor,
    State(office): State<Arc<Office>>,
    Query(page): Query<Shown>,
    Query(filter): Query<Filter>,
) -> Response {
    let Ok(seat) = Arc::clone(&office.viewers).try_acquire_owned() else {
        return (StatusCode::SERVICE_UNAVAILABLE, "Too many pages are open; refresh by hand.")
            .into_response();
    };
    let viewer = Viewer {
        visitor,
        since: page.since,
        system: page.system,
        filter,
        choice: None,
        greeted: false,
        commits: office.desk.commits.clone(),
        systems: office.desk.systems.clone(),
        link: office.desk.link.clone(),
        learning: office.desk.learning.clone(),
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
        self.learning.mark_unchanged();
        let board = match self.office.shelf.latest(self.visitor.reach()).await {
            Ok(board) => board,
            Err(fault) => {
                error!(error = %chain(&fault), "cannot tell open pages what changed");
                return Some(Event::default().comment("the ledger cannot be read"));
            }
        };
        let parts = self.changed(&board);
        self.since = board.stamp;
        let chrome = self.office.chrome(&self.visitor, board.stamp);
        let data = BoardEvent {
            stamp: board.stamp,
            now: self.office.now().millis(),
            link: chrome.link_words(),
            learning: chrome.learning,
            faulty: chrome.faulty,
            parts,
        };
        Some(Event::default().event("board").json_data(data).expect("numbers and strings are JSON"))
    }

    /// Names of the changed parts; `None` for all of them.
    fn changed(&mut self, board: &Drawn) -> Option<Vec<String>> {
        if let Some(system) = &self.system {
            return Some(
                board.is_newer(system, self.since).then(|| format!("s-{system}")).into_iter().collect(),
            );
        }
        let choice = board.choice(&self.filter);
        let before = self.choice.replace(choice);
        let same_choice =
            before.map_or(board.stamp == self.since || !self.filter.is_set(), |it| it == choice);
        match board.changed_since(self.since, &self.filter) {
            Changed::Parts(names) if same_choice => Some(names),
            Changed::Parts(_) | Changed::Everything => None,
        }
    }

    /// Waits for a change, for long enough, or returns `None` at the end.
    async fn wait(&mut self) -> Option<()> {
        let paced = async {
            tokio::time::sleep(PACE).await;
            tokio::select! {
                changed = self.commits.changed() => changed.is_ok(),
                changed = self.systems.changed() => changed.is_ok(),
                changed = self.link.changed() => changed.is_ok(),
                changed = self.learning.changed() => changed.is_ok(),
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
