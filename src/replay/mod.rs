//! Runs the engine over a recording, touching no network and no database.

mod player;
mod recording;
mod told;

pub use player::{Options, ReplayFault, replay};
pub use recording::{LineFault, Recorded, RecordingReader};
