//! Alerts: findings on their way through people. What may happen to one, which are consequences of
//! another, and who is told what, when and how often.
//!
//! Everything here is pure: time is an argument, and the same facts give the same decisions. The
//! ledger keeps the facts (`ledger::orders::alerts`), and `notify` carries the messages.

mod folding;
mod foresee;
#[cfg(test)]
mod foresee_tests;
mod hours;
mod lifecycle;
mod plan;
#[cfg(test)]
mod plan_tests;
mod routing;
mod stage;

pub use folding::{Piping, Standing, fold};
pub use foresee::{Foreseen, foresee};
pub use hours::{Hours, time};
pub use lifecycle::{Act, LONGEST_MUTE, Refusal, Taken};
pub use plan::{Facts, Notice, Plan, Recent, Told, Why, plan};
pub use routing::{Contact, Matter, Pace, Route, Routing, Rung};
pub use stage::{AlertNo, Closing, Deed, Stage};
