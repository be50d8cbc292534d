//! What to do about a finding, and how to say it to people.
//!
//! The practices are those of the trade (common practice, no published source); the cautions are
//! the usual ones around greywater. Every sentence that people read about a finding is in
//! `english.rs`.

mod check;
mod english;
mod place;

pub use check::{drift_check, separating_check};
pub use english::{Advice, advice, headline, kind_words, probability_words, severity_words};
pub use place::{basin_words, place_words, sensor_words};

#[cfg(test)]
mod samples;
