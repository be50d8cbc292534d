//! The whole physical world of one system, stepped through time.

mod condition;
mod doses;
mod source;
mod state;
mod yard;

pub use state::{BasinState, SystemState, World};
