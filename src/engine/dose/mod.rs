//! Doses: joined from what probes, floats and the meter show, shared out over the basins, and watched
//! for splitters and outlets that no longer divide as designed.

mod balance;
mod diagnose;
mod gather;
mod habit;
mod measure;
mod recent;
mod watch;

pub(crate) use watch::{DoseView, DoseWatch, ProbeView};
