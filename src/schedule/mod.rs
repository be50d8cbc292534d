//! Tasks and visits of the day: worked out of the ledger, kept up to date while the daemon runs.

mod gather;
mod service;

pub use gather::{Known, Upkeep, compared, work_out};
pub use service::{Schedule, ScheduleParts};
