//! The link against real brokers: Mosquitto, and the embedded one.

mod access;
mod bounds;

mod delivery;

mod outages;
mod recording;
mod rig;
mod speaking;
