//! The state of the connection to the broker, in words for the pages.

use tokio::sync::watch;

use crate::desk::LinkNote;
use crate::link::{Health, LinkState};
use crate::model::EventTime;

/// Follows the connection's state as long as somebody reads the note.
pub(super) fn follow(mut health: Health) -> watch::Receiver<LinkNote> {
    let mut state = health.state();
    let (notes, reader) = watch::channel(words(&state));
    tokio::spawn(async move {
        while !notes.is_closed() && state != LinkState::Stopped {
            let before = state;
            state = health.wait_for(|now| *now != before).await;
            notes.send_replace(words(&state));
        }
    });
    reader
}

fn words(state: &LinkState) -> LinkNote {
    match state {
        LinkState::Connecting => LinkNote { words: "connecting".to_owned(), since: None, up: false },
        LinkState::Up { since_ms } => LinkNote {
            words: "connected".to_owned(),
            since: Some(EventTime::from_millis(*since_ms)),
            up: true,
        },
        LinkState::Down { why, since_ms } => LinkNote {
            words: format!("not connected: {why}"),
            since: Some(EventTime::from_millis(*since_ms)),
            up: false,
        },
        LinkState::Stopped => LinkNote { words: "ended".to_owned(), since: None, up: false },
    }
}
