//! Basinward: telemetry for monitored branched-drain greywater systems.
//!
//! A tour, in the order in which imports may run:
//! [`model`] holds the words of the trade as types; [`engine`] draws the conclusions.
//! [`advice`] says what to do about a finding.
//! [`settings`] is what a person may choose about the daemon.

pub mod advice;
pub mod engine;
pub mod model;
pub mod settings;
