//! Weather over the yard: temperature, rain, and the evaporation that follows from them.

mod climate;
pub mod hargreaves;
mod weather;

pub use climate::{Climate, Rain};
pub use weather::{DayWeather, Shower, Weather};
