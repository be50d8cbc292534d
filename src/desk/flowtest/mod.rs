//! Flow tests at the desk: begun in the yard, watched live, kept as proof and compared with those before.

mod gather;
mod handlers;
mod pages;
mod work;

pub(in crate::desk) use gather::why_unmeasured;
pub(in crate::desk) use handlers::{LARGEST_L, routes};
pub(in crate::desk) use work::{CaughtRun, place, reached, step};
