//! The physical world that the daemon watches.
//!
//! [`world::World`] carries water from a household through pipes and splitters into mulch basins and the soil
//! below them. What is wrong with it, and when, is set by [`fault::Fault`]; what truly happened is told by the
//! types of [`truth`]. Nothing here shares code with the daemon.

mod calendar;
pub mod demo;
pub mod drain;
pub mod fault;
pub mod field;
pub mod ground;
pub mod payload;
pub mod people;
pub mod picture;
pub mod plot;
pub mod radio;
pub mod record;
pub mod rng;
pub mod run;
pub mod scenario;
pub mod score;
pub mod sensor;
pub mod site;
pub mod sky;
pub mod span;
pub mod standing;
pub mod truth;
pub mod wiring;
pub mod world;
