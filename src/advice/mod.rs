//! What to do about a finding, and how to say it to people.
//!
//! The practices are those of the trade (common practice, no published source); the cautions are
//! the usual ones around greywater. Every sentence that people read about a finding is in
//! `english.rs` and `headline.rs`.

mod cause;
mod check;
mod english;
mod foretold;
mod headline;
mod number;
mod place;
mod water;

pub use cause::{BATTERY_EMPTY, is_for_want_of_battery};
pub use check::{drift_check, separating_check};
pub use english::{Advice, advice, advice_in_flood, advice_on_empty};
pub use foretold::{DUE_WEEK_AGO, flood_days, flood_due, foretold};
pub use headline::{
    headline, headline_now, headline_past, is_never_heard, kind_words, kind_words_now, probability_words,
    severity_words,
};
pub use number::grouped;
pub use place::{basin_title, basin_words, place_title, place_words, quoted, sensor_title, sensor_words};
pub use water::WaterNow;

#[cfg(test)]
pub(crate) mod samples;
