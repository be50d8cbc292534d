//! The running daemon: joins broker, fleet, ledger and desk, and ends them in order.
//!
//! One writer thread owns the engines and the ledger ([`Steward`]); everything else sends it messages
//! or reads what it stored.

mod certificate;
mod demo;
mod feed;
mod learners;
mod mark;
mod note;
mod passing_on;
mod relearn;
mod reload;
mod repeat;
mod rounds;
mod saves;
mod service;
mod steward;
mod systemd;
mod telling;
mod writer;

pub use demo::{DemoFault, DemoOptions, Made, TendedYard, Watching, Year, demo};
pub(crate) use feed::{filters, link_settings};
pub use rounds::{Rounds, Stored};
pub use service::{RunFault, run};
pub(crate) use service::{pages, runtime};
pub use steward::Steward;
