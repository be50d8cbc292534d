//! The people whose water it is: when they wash, for how long, and how much water that sends down the drain.

mod household;

pub use household::{Absence, Guests, Household, Washer};
