//! Basinward: telemetry for monitored branched-drain greywater systems.
//!
//! A tour, in the order in which imports may run:
//! [`model`] holds the words of the trade as types; [`stats`] is mathematics that knows none of
//! them; [`engine`] draws the conclusions. [`systemfile`] reads the plumbing, [`intake`] turns bytes
//! into readings, and a [`fleet`] is all systems with their engines. [`replay`] plays recordings to it.
//! [`ledger`] keeps what happened, and is where SQL ends. [`link`] listens to the broker and
//! acknowledges what is stored. [`export`] passes it on to a time-series server. [`desk`] shows it to people, and
//! [`advice`] says what to do about a finding, and [`flowtest`] judges water that is run on purpose; [`alerts`] decides who is told of it, and [`notify`] tells them.
//! [`run`] joins them into the daemon.
//! [`secrets`] makes and checks passwords and tokens.
//! [`settings`] is what a person may choose about the daemon, [`clock`] the only place that asks the time,
//! [`backoff`] how long to wait before trying again, [`telemetry`] what the daemon says about itself.

pub mod advice;
pub mod alerts;
pub mod backoff;
pub mod cli;
pub mod clock;
pub mod desk;
pub mod engine;
pub mod export;
pub mod fleet;
pub mod flowtest;
pub mod intake;
pub mod ledger;
pub mod link;
pub mod model;
pub mod notify;
pub mod replay;
pub mod run;
pub mod schedule;
pub mod secrets;
pub mod settings;
pub mod stats;
pub mod systemfile;
pub mod telemetry;
pub mod upkeep;
