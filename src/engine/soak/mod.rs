//! How fast each basin takes its water: from how long its float stays up under which loads, and how late the water
//! reaches the probe below, to the floor's resistance, to how that has risen, to when it will flood.

mod basin;
mod course;
mod evidence;
mod floor;
mod inflow;
mod outlook;
mod pool;
mod report;
mod seepage;
mod silting;
mod watch;

pub(super) use floor::Floor;
pub(super) use watch::{DayView, FloatNow, SoakWatch};
