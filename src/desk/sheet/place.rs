//! One basin's and one splitter's own page.

use super::{BasinSheet, FindingSheet, Level, Scatter, SensorRow, TimelineSheet};

/// A basin with its history.
#[derive(Clone, Debug, PartialEq)]
pub struct BasinPage {
    /// Id and name of the system.
    pub system: (String, String),
    /// The day there, and whose clock times are told by.
    pub today: String,
    /// Its last readings.
    pub basin: BasinSheet,
    /// What is known about it: name and value in words.
    pub facts: Vec<(&'static str, String)>,
    /// Open findings about it.
    pub findings: Vec<FindingSheet>,
    /// How long water stood, each time.
    pub soaks: Option<Scatter>,
    /// The trend of that in a sentence.
    pub soak_trend: String,
    /// What happened in the stretch looked at.
    pub timeline: TimelineSheet,
    /// Its sensors.
    pub sensors: Vec<SensorRow>,
}

/// A splitter with its history.
#[derive(Clone, Debug, PartialEq)]
pub struct SplitterPage {
    /// Id and name of the system.
    pub system: (String, String),
    /// The day there, and whose clock times are told by.
    pub today: String,
    /// Its id.
    pub id: String,
    /// What its sides feed.
    pub sides: [String; 2],
    /// How it divides the water now.
    pub level: Option<Level>,
    /// Why that is not known, where it is not.
    pub unknown: Option<String>,
    /// Open findings about it.
    pub findings: Vec<FindingSheet>,
    /// Where nothing is found to be wrong with it: open findings about outlets below that shift its split, in words,
    /// with their pages.
    pub shifted_by: Vec<(String, String)>,
    /// What went to side a, dose by dose.
    pub balance: Scatter,
}
