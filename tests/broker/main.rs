//! The link against real brokers: Mosquitto, and the embedded one.

mod access;
mod bounds;
mod crash;
mod delivery;
mod embedded;
mod outages;
mod recording;
mod rig;
mod speaking;
