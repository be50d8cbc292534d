//! The ground: soil that takes water in and gives it up, mulch that rots, and the basins they make.

mod basin;
pub mod green_ampt;
mod mulch;
mod profile;
mod soil;

pub use basin::{Basin, Exchange, Ground};
pub use green_ampt::GreenAmpt;
pub use mulch::Mulch;
pub use profile::{LAYER_MM, Profile};
pub use soil::{Hydraulics, Soil, relative_fluidity};
