//! What the daemon says about itself while it runs: log lines, error chains, a clean death on a panic.

mod chain;
mod logging;
mod panic;

pub use chain::{Chain, chain};
pub use logging::{AlreadyLogging, start_logging, wants_colour};
pub use panic::abort_on_panic;
