//! Weather over the yard: temperature, rain, and the evaporation that follows from them.

mod climate;

pub use climate::{Climate, Rain};
