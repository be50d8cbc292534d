//! What may go wrong around the daemon, done to it on purpose: each prints how much was acknowledged and how much of
//! that is missing, which must be nothing.
//!
//! `cargo test --test faults -- --nocapture`. Where a fault needs more rights than this user has, its test says so and
//! leaves it out. What other suites do already stands in the table of DEVELOPERS.md.

#![expect(clippy::unwrap_used, reason = "a test fails by panicking")]

mod broker;
mod clock;
mod damage;
mod disk;
mod floods;
mod load;
mod memory;
#[expect(dead_code, reason = "shared with the tests of the daemon, which need more of it")]
#[path = "../daemon/rig.rs"]
mod rig;
