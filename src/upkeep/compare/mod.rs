//! The past once more: what it took as it was, and what it would have taken by plan and by the calendar.
//!
//! All are played through over the same findings and forecasts, each day knowing only what was known then. Findings of
//! one part that no work lies between have one cause, which comes and goes until somebody mends it. Where the records
//! say that somebody did, it would have stood on without that, to the end of the period. That a visit mends what it is
//! made for is assumed of the plan and of calendars; what work prevented is credited to neither.

mod cause;
mod played;
mod sides;

pub use sides::{CALENDARS, Comparison, Course, Past, PastFinding, Side, Way, compare};
