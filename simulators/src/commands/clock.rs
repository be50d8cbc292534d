//! The only place of these commands that reads the wall clock: playing to a broker happens in real time.

use std::time::{SystemTime, UNIX_EPOCH};

/// The time now (Unix ms).
#[expect(clippy::disallowed_methods, reason = "a live broker's messages are stamped with the real time")]
pub(super) fn now_ms() -> i64 {
    SystemTime::now().duration_since(UNIX_EPOCH).map_or(0, |since| since.as_millis() as i64)
}
