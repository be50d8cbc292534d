//! One basin's and one splitter's own page.

use super::{AlertRow, BasinSheet, FindingSheet, Level, Moment, Scatter, SensorRow, TimelineSheet};

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
    /// What is expected of its mulch, and from what.
    pub mulch: Vec<(&'static str, String)>,
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
    /// What was done here, newest first.
    pub past_work: Vec<PastWork>,
    /// Alerts about it that are over, newest first.
    pub past_alerts: Vec<AlertRow>,
}

/// Something that was done.
#[derive(Clone, Debug, PartialEq)]
pub struct PastWork {
    /// The record.
    pub page: String,
    /// When.
    pub at: Moment,
    /// What was found and done.
    pub says: String,
    /// Who wrote it down.
    pub by: String,
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
    /// Why its figures are off its design, where nothing is found to be wrong with it.
    pub off: Option<String>,
    /// What went to side a, dose by dose.
    pub balance: Scatter,
}
