//! The physical world against published values and against the laws it must keep.

mod cost;
mod drain;
mod people;
mod sites;
mod sky;
mod soil;
mod world;
