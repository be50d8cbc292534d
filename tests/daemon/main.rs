//! The daemon as a process, against real brokers.

mod agreement;
mod kills;
mod manners;
mod people;
mod rig;
