//! The daemon as a process, against real brokers.

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
mod parity;
mod people;
mod retiring;
mod rig;
mod services;
mod upgrade;
mod year;
