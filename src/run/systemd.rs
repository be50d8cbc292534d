//! Telling the service manager how we are. Without one, nothing happens.

use std::time::Duration;

use sd_notify::NotifyState;
use tracing::debug;

/// Says something to the service manager, if there is one.
fn say(states: &[NotifyState<'_>]) {
    if let Err(error) = sd_notify::notify(states) {
        debug!(%error, "cannot reach the service manager");
    }
}

/// We serve.
pub(super) fn ready() {
    say(&[NotifyState::Ready]);
}

/// We are about to end.
pub(super) fn stopping() {
    say(&[NotifyState::Stopping]);
}

/// What we do, in words.
pub(super) fn status(text: &str) {
    say(&[NotifyState::Status(text)]);
}

/// The writer made progress.
pub(super) fn alive() {
    say(&[NotifyState::Watchdog]);
}

/// How often the service manager wants a sign of life, halved for safety; none if it does not.
pub(super) fn watchdog_interval() -> Option<Duration> {
    sd_notify::watchdog_enabled().map(|interval| interval / 2)
}
