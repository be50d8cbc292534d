//! What single sensors tell: how often they report, whether to believe them, when water came.

mod cadence;
mod float;
mod quality;

pub(crate) use cadence::Cadence;
pub(crate) use float::{FloatEvent, FloatSignal};
pub(crate) use quality::{Doubt, ProbeQuality};
