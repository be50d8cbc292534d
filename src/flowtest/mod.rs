//! Flow tests: running water on purpose to prove the split.
//!
//! A test is one or more runs of water. Each run gives what every basin received, by the probes or by buckets, with
//! how sure that is; from it follows a log ratio at each splitter (`run`). Runs are combined by the inverse of
//! their variances, and each splitter is judged (`verdict`). While nothing is measured yet, [`arrival`] tells in
//! which order the outlets respond.

mod arrival;
mod patience;
mod run;
mod verdict;

pub use arrival::{Arrival, Trace, arrival};
pub use patience::Patience;
pub use run::{Caught, Method, Run};
pub use verdict::{Next, Outcome, SplitResult, TOLERANCE, Verdict, judge};
