//! Basinward: telemetry for monitored branched-drain greywater systems.
//!
//! A tour, in the order in which imports may run:
//! [`model`] holds the words of the trade as types.

pub mod model;
