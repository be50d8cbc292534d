//! The ledger against a real disk: what a commit promises, and what survives.

#![expect(clippy::unwrap_used, reason = "a test fails by panicking")]

mod alerts;
mod backup;
mod changed;
mod child;
mod commit;
mod crash;
mod damage;
mod flowtests;
mod formats;
mod full_disk;
mod held;
mod orders;
mod packed;
mod relearnt;
mod retention;
mod services;
mod told;
mod yard;
