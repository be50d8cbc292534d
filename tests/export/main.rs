//! Passing on to a time-series server: real ones for what they take, a scripted one for how they fail.

mod answers;
mod keeper;
mod oracle;
mod recovery;
mod refusals;
mod series;
#[path = "../ledger/yard.rs"]
mod yard;
