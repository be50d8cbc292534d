//! One sensor's own page.

use super::{FindingSheet, Moment, PastSheet};
use crate::intake::Payload;

/// A sensor, how it is heard, and whether it is believed.
#[derive(Clone, Debug, PartialEq)]
pub struct SensorPage {
    /// Id and name of the system.
    pub system: (String, String),
    /// The day there, and whose clock times are told by.
    pub today: String,
    /// The basin that it sits in: id and what people call it.
    pub basin: Option<(String, String)>,
    /// Its name in the system.
    pub name: String,
    /// What it is, in words.
    pub words: String,
    /// Where it is heard.
    pub topic: String,
    /// It was heard there.
    pub is_heard: bool,
    /// What it may send.
    pub sends: Payload,
    /// Whether it is believed, in a sentence.
    pub verdict: String,
    /// Open findings about it.
    pub findings: Vec<FindingSheet>,
    /// How it is heard: name and value in words.
    pub facts: Vec<(&'static str, String)>,
    /// The last days of UTC.
    pub days: Vec<DayHeard>,
    /// Beginnings of the last payloads and when they arrived, newest first.
    pub payloads: Vec<(Moment, String)>,
    /// What was refused of late, newest first.
    pub refusals: Vec<RefusedSheet>,
    /// The last readings, newest first: when they were measured, and the value in words.
    pub readings: Vec<(Moment, String)>,
    /// Findings about it that are over, newest first.
    pub past: Vec<PastSheet>,
}

/// How much of a day was heard.
#[derive(Clone, Debug, PartialEq)]
pub struct DayHeard {
    /// The day and what was heard, in words.
    pub words: String,
    /// Readings heard, of those expected, 0 to 1.
    pub part: f64,
}

/// A record that was refused.
#[derive(Clone, Debug, PartialEq)]
pub struct RefusedSheet {
    /// When it arrived.
    pub at: Moment,
    /// What exactly was wrong.
    pub detail: String,
    /// How to mend it.
    pub mend: &'static str,
    /// The beginning of the payload.
    pub payload: String,
}
