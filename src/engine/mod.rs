//! One sans-I/O state machine per system: readings in, effects out.
//!
//! [`Engine`] holds the state of one system. Live running, replay and the tests all drive its one
//! function [`Engine::apply`]. Same input, same output, to the byte.

mod allowance;
mod basin_watch;
mod board;
#[cfg(test)]
mod clock_stories;
mod day;
mod dose;
mod effect;
mod forecast;
mod habits;
mod layout;
mod machine;
mod mulch;
mod rain;
mod relearnt;
mod reorder;
mod resume;
#[cfg(test)]
mod resume_stories;
mod sensor_watch;
mod service;
mod sewer_watch;
mod signal;
mod snapshot;
mod soak;
mod soak_habit;
mod soil_below;
mod use_watch;
mod water;
mod words;

#[cfg(test)]
mod float_stories;
#[cfg(test)]
mod glance_stories;
#[cfg(test)]
mod late_stories;
#[cfg(test)]
mod properties;
#[cfg(test)]
mod share_stories;
#[cfg(test)]
mod stories;
#[cfg(test)]
mod use_stories;

pub use effect::{Change, Dose, Effect, FindingChange, Input, Soak};
pub use forecast::Forecast;
pub use machine::{Due, Engine, WATERMARK};
pub use relearnt::Told;
pub use snapshot::SnapshotFault;
