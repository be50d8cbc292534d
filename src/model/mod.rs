//! The words of the trade as types: systems, sensors, readings, findings.
//!
//! Everything here is plain data without clock, I/O or SQL. A [`System`] is checked once, when it
//! is built, and immutable afterwards, so that the rest of the program indexes into it freely.

mod command;
mod finding;
mod id;
mod person;
mod plan;
mod reading;
mod sensor;
mod service;
mod soil;
mod system;
mod time;
mod tree;

pub use command::{Catch, Command, Depths, Service, Work};
pub use finding::{Evidence, Finding, FindingKind, Severity, Subject};
pub use id::{Id, IdFault};
pub use person::{Action, NameFault, PersonName, Reach, Role};
pub use plan::{Basin, Chip, Location, Mulch, Point, Source, Splitter, UNMEASURED_DOSE_L};
pub use reading::{Course, Reading, Value};
pub use sensor::{Place, Quantity, Sensor, SensorIx, Unit, Wired, Wiring, default_topic};
pub use service::{
    KeyFault, LevelReading, LevelUnit, Obstruction, ObstructionKind, RecordFault, RecordKey, ServiceRecord,
};
pub use soil::{Soil, SoilProperties};
pub use system::{System, SystemParts};
pub use time::{EventTime, Span, TimeFault};
pub use tree::{BasinIx, Node, SplitterIx, Step, Tree, TreeFault};
