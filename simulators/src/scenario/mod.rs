//! Scenarios: TOML files that say what is built, who lives there, what the sensors are like, what goes wrong, and
//! what should be noticed.

mod error;
mod expect;
mod file;
mod library;

pub use error::ScenarioError;
pub use expect::{Expect, Expectation};
pub use file::Scenario;
pub use library::Library;
