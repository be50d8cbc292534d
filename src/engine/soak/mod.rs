//! How fast each basin takes its water: from how long its float stays up under which loads, to the floor's
//! resistance, to how that has risen, to when it will flood.

mod course;
mod evidence;
mod floor;
mod inflow;
mod outlook;
mod report;
mod watch;

pub(super) use floor::Floor;
pub(super) use watch::{DayView, FloatNow, SoakWatch};
