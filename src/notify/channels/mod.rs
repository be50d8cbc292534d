//! The ways to reach people and machines.

mod carriers;
mod command;
mod event;
mod mail;
mod trouble;
mod webhook;

pub use carriers::{Carrier, Carriers, Delivery, NoChannel};
pub use trouble::Trouble;
