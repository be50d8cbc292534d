//! The physical world that the daemon watches.
//!
//! [`world::World`] carries water from a household through pipes and splitters into mulch basins and the soil
//! below them. What is wrong with it, and when, is set by [`fault::Fault`]; what truly happened is told by the
//! types of [`truth`]. Nothing here shares code with the daemon.

pub mod fault;
pub mod people;
pub mod rng;
pub mod site;
pub mod sky;
pub mod truth;
pub mod world;
