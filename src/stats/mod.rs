//! Mathematics without domain words: change detection, robust estimates, trends, log ratios, distributions.
//!
//! Nothing here knows of basins, clocks, files or sockets, and nothing here uses the rest of the project.
//! Streaming state is bounded, clonable and serialisable, and an update allocates nothing. Functions of plain
//! numbers follow the standard library: an argument outside the domain gives `NaN`, never a panic. Times are
//! `f64` in whatever unit the caller counts in; results come back in the same unit.

pub mod bayes;
pub mod cusum;
pub mod decay;
pub mod ewma;
pub mod figures;
pub mod glr;
pub mod infiltration;
pub mod interval;
mod linear;
pub mod logratio;
pub mod lorden;
pub mod normal;
pub mod pooled;
mod quadrature;
pub mod recession;
pub mod regression;
pub mod robust;
pub mod run_length;
pub mod student;
pub mod trend;
