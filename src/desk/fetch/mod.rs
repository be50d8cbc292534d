//! Questions to the ledger: one function for what one page or part of it needs.

mod timeline;

pub(super) use timeline::timeline;
