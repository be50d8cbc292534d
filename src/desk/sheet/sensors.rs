//! All sensors of a system, and those in doubt of all systems.

use super::{Moment, SensorRow, Urgency};

/// The sensors of one system.
#[derive(Clone, Debug, PartialEq)]
pub struct SensorsSheet {
    /// Id and name of the system.
    pub system: (String, String),
    /// The day there, and whose clock times are told by.
    pub today: String,
    /// Where they send.
    pub broker: String,
    /// Batteries that will be low before long: where, and when.
    pub batteries: Vec<String>,
    /// The sensors.
    pub rows: Vec<SensorState>,
    /// The visitor may change the system.
    pub may_change: bool,
    /// The visitor sees what was heard of no system.
    pub hears_all: bool,
}

/// One sensor.
#[derive(Clone, Debug, PartialEq)]
pub struct SensorState {
    /// What the table of its system says of it.
    pub row: SensorRow,
    /// Where it is heard.
    pub topic: String,
    /// It was heard, but not of late.
    pub unheard: bool,
    /// The battery where it sits, and when that will be low.
    pub battery: Option<String>,
}

/// Sensors in doubt of all systems in reach.
#[derive(Clone, Debug, PartialEq)]
pub struct DoubtsSheet {
    /// Them, most urgent first.
    pub rows: Vec<DoubtRow>,
    /// Systems of which some or all sensors were not heard yet: id, name, and how many were.
    pub unheard: Vec<(String, String, String)>,
}

/// A sensor in doubt.
#[derive(Clone, Debug, PartialEq)]
pub struct DoubtRow {
    /// Id and name of its system.
    pub system: (String, String),
    /// What is wrong with it, as one sentence.
    pub headline: String,
    /// How urgent.
    pub urgency: Urgency,
    /// Since when.
    pub since: Moment,
    /// Where more is told of it.
    pub page: String,
}
