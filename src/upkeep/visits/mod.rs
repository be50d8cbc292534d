//! Visits: which tasks are done together at which property on which day.
//!
//! Each property by itself is the question of the fewest points that stab every window, which the greedy choice by
//! due date answers exactly ([`stab`]). What is left is to find a day for each of these visits that the crew has time
//! on ([`place`]). A single move makes room where it can, and what comes out late even so is tried once more
//! together with what is around it ([`mend`]).

mod diary;
mod job;
mod mend;
mod place;
mod planner;
#[cfg(test)]
mod planner_tests;
mod stab;

pub use job::{Job, Late, Plan, Visit};
pub use planner::plan;
