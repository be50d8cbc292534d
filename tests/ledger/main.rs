//! The ledger against a real disk: what a commit promises, and what survives.

mod commit;
mod yard;
