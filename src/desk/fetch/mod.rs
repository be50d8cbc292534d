//! Questions to the ledger: one function for what one page or part of it needs.

mod sensor;
mod timeline;

pub(super) use sensor::sensor;
pub(super) use timeline::timeline;
