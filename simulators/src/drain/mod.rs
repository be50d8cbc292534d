//! The branched drain: pipes, splitters and outlets between the fixtures and the basins.

mod line;
pub mod pipe;
mod splitter;
mod tree;

pub use line::Line;
pub use pipe::Pipe;
pub use splitter::Splitter;
pub use tree::{Delivery, Drain, Plumbing};
