//! A panic ends the process instead of leaving it half dead.

use std::backtrace::Backtrace;
use std::panic::{self, PanicHookInfo};

/// From now on a panic in any thread is logged as an error and then aborts the process.
///
/// A task that died alone would leave a daemon that looks alive and does nothing. Whoever supervises the
/// process starts it again, and nothing acknowledged is lost.
pub fn abort_on_panic() {
    panic::set_hook(Box::new(|info| {
        let place = info.location().map(ToString::to_string).unwrap_or_default();
        let backtrace = Backtrace::capture(); // filled in when RUST_BACKTRACE=1
        tracing::error!(place, %backtrace, "a mistake in the program, stopping now: {}", message(info));
        std::process::abort();
    }));
}

fn message<'a>(info: &'a PanicHookInfo<'_>) -> &'a str {
    info.payload_as_str().unwrap_or("no message")
}
