//! For the yard: the visit sheet, which opens without a signal once it was opened with one, and labels for the lids.

mod gather;
mod handlers;
mod labels;
mod pages;

pub(in crate::desk) use handlers::routes;
