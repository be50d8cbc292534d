//! The people whose water it is: when they wash, for how long, and how much water that sends down the drain.

mod habits;
mod household;
mod uses;

pub use habits::Habits;
pub use household::{Absence, Guests, Household, Washer};
pub use uses::{Surge, Use};
