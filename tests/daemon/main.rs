//! The daemon as a process, against real brokers.

mod absent;
mod agreement;
mod buckets;
mod calendar;
mod demonstration;
mod faulty;
mod interface;
mod isolation;
mod kills;
mod labels;
mod manners;
#[path = "../alerts/other_clock.rs"]
mod other_clock;
mod parity;
mod people;
mod retiring;
mod rig;
mod services;
mod upgrade;
mod year;
