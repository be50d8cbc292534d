//! The demonstration: invented yards, live on defaults, with a past that was made up or with a year in which the
//! plan was kept to.

mod deeds;
mod heeding;
mod show;
mod story;
mod technician;
mod tended;
mod traffic;
mod year;

pub use show::{DemoFault, DemoOptions, Watching, demo};
pub use tended::TendedYard;
pub use year::{Made, Year};
