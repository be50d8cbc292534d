//! One sans-I/O state machine per system: readings in, effects out.

mod effect;

pub use effect::{Change, Dose, Effect, FindingChange, Input, Soak};
