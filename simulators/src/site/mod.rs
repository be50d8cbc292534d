//! The system as built, read from its file.

mod built;
mod file;

pub use built::{Basin, Chip, Fixture, Meter, Node, Site, Splitter, Texture};
pub use file::SiteError;
