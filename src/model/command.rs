//! What people tell an engine: work done on a part of a system.

use serde::{Deserialize, Serialize};

use super::{EventTime, Quantity, Subject};

/// Something that a person did and that changes what the readings mean from then on.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub enum Command {
    /// Work on one part.
    Serviced(Service),
}

/// Work done on one part of a system.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Service {
    /// When it was finished.
    pub at: EventTime,
    /// The part worked on.
    pub subject: Subject,
    /// What was done, in order; empty if the part was only looked at.
    pub work: Vec<Work>,
    /// Depth of mulch found before the work, mm, if somebody measured it.
    pub mulch_found_mm: Option<f64>,
    /// Depth of mulch left after the work, mm, if somebody measured it.
    pub mulch_left_mm: Option<f64>,
}

/// Kinds of work that an engine must know of.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Work {
    /// An outlet was freed of what held its water back.
    OutletCleared,
    /// A splitter was set level.
    SplitterLevelled,
    /// New chips were put into a basin.
    MulchRenewed,
    /// Silt was taken out of a basin, or its floor loosened.
    BasinLoosened,
    /// A sensor was replaced or moved: what was learnt about the old one no longer holds.
    SensorReplaced(Quantity),
    /// A battery was changed.
    BatteryChanged,
    /// The diverter was turned to the sewer and back.
    DiverterExercised,
    /// The pipe before the first splitter was cleared.
    LineCleared,
}

impl Command {
    /// When it was done.
    pub fn at(&self) -> EventTime {
        match self {
            Self::Serviced(service) => service.at,
        }
    }
}
