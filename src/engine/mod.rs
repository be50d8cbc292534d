//! One sans-I/O state machine per system: readings in, effects out.
//!
//! [`Engine`] holds the state of one system. Live running, replay and the tests all drive its one
//! function [`Engine::apply`]. Same input, same output, to the byte.

mod allowance;
mod basin_watch;
mod board;
mod dose;
mod effect;
mod layout;
mod machine;
mod rain;
mod reorder;
mod sensor_watch;
mod service;
mod sewer_watch;
mod signal;
mod snapshot;
mod soak_habit;
mod water;
mod words;

#[cfg(test)]
mod properties;
#[cfg(test)]
mod stories;

pub use effect::{Change, Dose, Effect, FindingChange, Input, Soak};
pub use machine::{Due, Engine, WATERMARK};
pub use snapshot::SnapshotFault;
