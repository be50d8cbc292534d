//! What single sensors tell: how often they report, whether to believe them, when water came.

mod block;
mod cadence;
mod ceiling;
#[cfg_attr(not(test), expect(dead_code, reason = "doses will be joined from wettings"))]
mod drying;
#[cfg_attr(not(test), expect(dead_code, reason = "doses will be joined from wettings"))]
mod falls;
mod float;
#[cfg(test)]
mod ground;
#[cfg_attr(not(test), expect(dead_code, reason = "doses will be joined from wettings"))]
mod probe;
mod quality;
mod wetting;

pub(crate) use cadence::Cadence;
pub(crate) use float::{FloatEvent, FloatSignal};
pub(crate) use quality::{Doubt, ProbeQuality};
