//! Questions to the ledger: one function for what one page or part of it needs.

mod alerts;
mod open;
mod sensor;
mod sensors;
mod timeline;

pub(super) use alerts::alerts;
pub(super) use open::{foretell, open, week_before};
pub(super) use sensor::sensor;
pub(super) use sensors::sensors;
pub(super) use timeline::timeline;
