//! Messages about alerts, from a real daemon through real servers.

mod course;
mod held_back;
mod house;
mod machines;
mod mail;
mod other_clock;
mod outage;
#[path = "../daemon/rig.rs"]
#[expect(dead_code, reason = "the daemon's tests use more of it")]
mod rig;
mod storms;
mod ten_thousand;
