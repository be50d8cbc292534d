//! Basinward: telemetry for monitored branched-drain greywater systems.
//!
//! A tour, in the order in which imports may run:
//! [`model`] holds the words of the trade as types; [`stats`] is mathematics that knows none of
//! them; [`engine`] draws the conclusions.
//! [`ledger`] keeps what happened, and is where SQL ends. [`link`] listens to the broker and
//! acknowledges what is stored. [`advice`] says what to do about a finding.
//! [`settings`] is what a person may choose about the daemon, [`clock`] the only place that asks the time,
//! [`telemetry`] what the daemon says about itself.

pub mod advice;
pub mod cli;
pub mod clock;
pub mod engine;
pub mod ledger;
pub mod link;
pub mod model;
pub mod settings;
pub mod stats;
pub mod telemetry;
