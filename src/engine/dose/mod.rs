//! Doses: episodes of water joined from what probes, floats and the meter show, shared out over the basins,
//! and watched for splitters and outlets that no longer divide as designed.

mod alarm;
mod cause;
mod diagnose;
mod drift;
mod episode;
mod gains;
mod habit;
mod likelihood;
mod measure;
mod recent;
mod rises;
mod told;
mod track;
mod volume;
mod watch;

pub(crate) use episode::DRIP_LITRES;
pub(crate) use measure::Shown;
pub(crate) use watch::{DoseView, DoseWatch};
