//! All the systems that one daemon watches: messages in, readings and effects out.
//!
//! Knows topics and engines, but no network, database or clock; live running and replay share it.

mod allowance;
mod gathered;
mod waiting;
mod watch;

pub use gathered::Gathered;
pub use waiting::Waiting;
pub use watch::Fleet;
