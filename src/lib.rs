//! Basinward: telemetry for monitored branched-drain greywater systems.
//!
//! A tour, in the order in which imports may run:
//! [`model`] holds the words of the trade as types; [`engine`] draws the conclusions.

pub mod engine;
pub mod model;
