//! The yearly record of a system: what went through it, what was wrong, what was done, and what is not known.

mod account;
mod deviations;
mod draw;
mod handlers;
mod heard;
mod pages;
mod read;
#[cfg(test)]
mod samples;
mod table;
mod water;

pub(in crate::desk) use account::Account;
pub(in crate::desk) use handlers::{routes, year_of};
pub(in crate::desk) use read::Span as YearSpan;
