//! The yearly record of a system: what went through it, what was wrong, what was done, and what is not known.

mod account;
mod deviations;
mod handlers;
mod pages;
mod read;
mod table;

pub(in crate::desk) use account::Account;
pub(in crate::desk) use handlers::{routes, year_of};
