//! What the pages show, as plain data: filled by `gather`, drawn by `pages`.
//!
//! Times are already in words of the system's own zone, and water content is already judged by the
//! soil, so that a page only lays things out.

mod alert;
mod alert_filter;
mod board;
mod chrome;
mod coming;
mod heard;
mod level;
mod part;
mod pipes;
mod place;
mod received;
mod scatter;
mod sensor;
mod sensors;
mod stretch;
mod system;
mod timeline;

pub use alert::{
    AlertChoice, AlertRow, AlertSheet, AlertsSheet, At, Reopened, RivalRow, StageCounts, TAKE_BACK,
};
pub use alert_filter::{AlertSieve, AlertsAsked};
pub use board::{Board, Choices, Counts, Filter, Need, SystemCard};
pub use chrome::{Chrome, Who};
pub use coming::ComingRow;
pub use heard::{HeardSheet, RefusalSheet, RefusedAt, StraySheet};
pub use level::{Level, LevelBasis};
pub use part::{
    AlertMark, BasinSheet, Doubt, FindingSheet, FloatSheet, Moment, SoilBand, SoilWater, Urgency,
};
pub use pipes::{PipeRow, SplitterMark};
pub use place::{BasinPage, PastWork, SplitterPage};
pub use received::{BasinLine, Received, ReceivedSheet, ReceivedTime};
pub use scatter::{Mark, MarkKind, Scatter};
pub use sensor::{DayHeard, RefusedSheet, SensorPage};
pub use sensors::{DoubtRow, DoubtsSheet, SensorState, SensorsSheet};
pub use stretch::{Range, Stretch};
pub use system::{Awaited, PastSheet, PlanBasin, PlanSheet, PlanSplitter, SensorRow, SystemSheet};
pub use timeline::{
    Bar, BarLane, BasinCell, FindingBar, SoilLane, SoilPoint, Tick, TimeRow, TimeTable, TimelineSheet,
};
