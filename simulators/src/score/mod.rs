//! The scoreboard: what the daemon concluded from a scenario's traffic, held against the truth.
//!
//! The daemon runs as a process that hears a recording and nothing else. [`daemon`] plays to it, [`judge()`] compares
//! one run with its truth, [`Tally`] sums up many runs, and [`report`] prints the sums beside the goals.

pub mod daemon;
mod doses;
mod failures;
mod forecast;
mod judge;
mod plan;
mod reliability;
pub mod report;
mod said;
mod stays;
mod tally;
mod truths;

pub use failures::Failure;
pub use forecast::Forecasting;
pub use judge::{Alarm, Outcome, Verdict, judge};
pub use plan::{Class, Job, Seeds, plan};
pub use reliability::{Claim, Reliability, reliability};
pub use said::{DoseSaid, FindingSaid, ForecastSaid, Said};
pub use tally::Tally;
