//! What an engine takes in and what it gives out.

use serde::{Deserialize, Serialize};

use super::Forecast;
use crate::model::{BasinIx, Command, EventTime, Finding, Reading, Span};

/// Something for an engine to take in. The time of arrival is a separate argument.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub enum Input {
    /// A reading of one of the system's sensors.
    Reading(Reading),
    /// Time went by.
    Tick,
    /// Another system of the same property had a dose, which began at that time.
    SiblingUsed(EventTime),
    // The ledger's journal keeps inputs by their place here: new ones come last.
    /// Somebody worked on the system or tested it.
    Command(Box<Command>),
}

/// Something that an engine concluded.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub enum Effect {
    /// A finding was raised, changed or cleared.
    Finding(FindingChange),
    /// A dose was recognised.
    Dose(Dose),
    /// Standing water went away.
    Soak(Soak),
    /// A basin's forecast was made anew.
    Forecast(Forecast),
}

/// A step in the life of a finding.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct FindingChange {
    /// What happened to it.
    pub change: Change,
    /// When the evidence sufficed.
    pub at: EventTime,
    /// The finding as it is now; when cleared, as it was last.
    pub finding: Finding,
}

/// What happened to a finding.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Change {
    /// It is new.
    Raised,
    /// Its severity changed, or its probability crossed a step.
    Updated,
    /// It is over.
    Cleared,
}

/// One discharge of greywater through the system.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Dose {
    /// When it began.
    pub at: EventTime,
    /// Litres as a meter counted them; without one an estimate by how many people use the system, where probes tell doses.
    pub litres: Option<f64>,
    /// Fraction that each basin with a usable sensor received; sums to 1 over them.
    pub shares: Vec<(BasinIx, f64)>,
    /// How far the shares can be trusted, 0 to 1.
    pub quality: f64,
}

/// One stay of standing water in a basin, from the float's rise to its fall.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Soak {
    /// Which basin.
    pub basin: BasinIx,
    /// When the float rose.
    pub began: EventTime,
    /// How long it stayed up.
    pub lasted: Span,
}
