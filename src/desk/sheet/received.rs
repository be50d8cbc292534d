//! What the basins received over some time.

use crate::model::EventTime;

/// Months of the calendar and the last 30 days, of all basins of a system.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct ReceivedSheet {
    /// Basins in the order of the system file.
    pub basins: Vec<BasinLine>,
    /// The last month of the calendar, this month so far, and the last 30 days.
    pub times: Vec<ReceivedTime>,
}

/// A basin as a line of the table.
#[derive(Clone, Debug, PartialEq)]
pub struct BasinLine {
    /// Its id.
    pub id: String,
    /// What people call it.
    pub label: String,
    /// Part of the water that the design gives it.
    pub design: f64,
}

/// What was received from one time to another.
#[derive(Clone, Debug, PartialEq)]
pub struct ReceivedTime {
    /// In words: `October 2026`, `30 days`.
    pub words: String,
    /// From when.
    pub from: EventTime,
    /// To when.
    pub to: EventTime,
    /// Doses.
    pub doses: usize,
    /// Those of them whose litres are not known.
    pub unmeasured: usize,
    /// No meter counts: litres are reckoned by how many people use the system.
    pub estimated: bool,
    /// By basin.
    pub basins: Vec<Received>,
}

/// What one basin received. Litres and share are about the same doses.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct Received {
    /// Litres of the doses that were measured, where there were any.
    pub litres: Option<f64>,
    /// Part of the water, where the probes tell.
    pub share: Option<f64>,
    /// How many doses the figures rest on.
    pub doses: usize,
    /// The longest time over which its sensors told of no dose: first and last dose of it.
    pub silent: Option<(EventTime, EventTime)>,
    /// What the figures rest on where that is not every dose, or why there are none.
    pub says: Option<String>,
}
