//! What single sensors tell: how often they report, whether to believe them, when water came.

mod beat;
mod block;
mod cadence;
mod ceiling;
mod drying;
mod falls;
mod float;
#[cfg(test)]
mod ground;
mod probe;
#[cfg(test)]
mod probe_stories;
mod quality;
mod trace;
mod wetting;

pub(crate) use cadence::{Cadence, SHORTEST_PATIENCE};
pub(crate) use float::{FloatEvent, FloatSignal};
pub(crate) use probe::{Noted, ProbeSignal};
pub(crate) use quality::{Doubt, ProbeQuality};
pub(crate) use trace::Rise;
pub(crate) use wetting::Wetting;
