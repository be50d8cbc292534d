//! One system's own page.

use super::{ComingRow, Level, Moment, ReceivedSheet, SystemCard, TimelineSheet, Urgency};
use crate::intake::Payload;
use crate::model::FindingKind;

/// Everything on a system's page.
#[derive(Clone, Debug, PartialEq)]
pub struct SystemSheet {
    /// What the first page shows of it.
    pub card: SystemCard,
    /// The property's name.
    pub property: String,
    /// The day there, and whose clock times are told by.
    pub today: String,
    /// Facts from the system file: name and value in words.
    pub facts: Vec<(&'static str, String)>,
    /// The site plan, when every part has a place on it.
    pub plan: Option<PlanSheet>,
    /// What happened in the stretch looked at.
    pub timeline: TimelineSheet,
    /// Every sensor.
    pub sensors: Vec<SensorRow>,
    /// What is to be done, the soonest first.
    pub coming: Vec<ComingRow>,
    /// What to bring for what is wrong and what is worth doing by now, as the visit sheet says.
    pub bring: Vec<String>,
    /// What the basins received.
    pub received: ReceivedSheet,
    /// How the basins stand against published tables.
    pub design: Vec<String>,
    /// Findings that are over, latest first.
    pub past: Vec<PastSheet>,
    /// What is to be connected, while some of its sensors were not heard yet.
    pub awaited: Option<Awaited>,
    /// Who is at work there, so that nobody is told of anything, as a sentence.
    pub muted: Option<String>,
    /// Whoever looks may change it.
    pub may_change: bool,
    /// That it was set up or changed a moment ago, as a sentence.
    pub saved: Option<&'static str>,
}

/// Sensors that were not heard yet.
#[derive(Clone, Debug, PartialEq)]
pub struct Awaited {
    /// Where they publish.
    pub broker: String,
    /// The topic of one of them.
    pub topic: String,
    /// What they may send, in the words of the first that does: each kind of sensor and message once.
    pub sends: Vec<(String, Payload)>,
}

/// The site plan: metres, x to the right and y upwards.
#[derive(Clone, Debug, PartialEq)]
pub struct PlanSheet {
    /// The system's name.
    pub name: String,
    /// Basins.
    pub basins: Vec<PlanBasin>,
    /// Splitters.
    pub splitters: Vec<PlanSplitter>,
    /// Pipes from one place to another.
    pub pipes: Vec<[(f64, f64); 2]>,
    /// The first part that the water reaches.
    pub inlet: (f64, f64),
    /// Why figures are off the design of a splitter that nothing is found to be wrong with, in sentences.
    pub notes: Vec<String>,
}

/// A basin on the plan.
#[derive(Clone, Debug, PartialEq)]
pub struct PlanBasin {
    /// Its id.
    pub id: String,
    /// Its name.
    pub label: String,
    /// Centre.
    pub at: (f64, f64),
    /// Radius of a circle of its area, m.
    pub radius_m: f64,
    /// Standing water was heard of.
    pub wet: bool,
    /// Water content of its soil, m³/m³.
    pub soil: Option<f64>,
    /// Part of the water that it received in 30 days.
    pub received: Option<f64>,
    /// Part that the design gives it.
    pub design: f64,
    /// Its page.
    pub page: String,
    /// Most urgent finding about it.
    pub trouble: Option<Urgency>,
}

/// A splitter on the plan.
#[derive(Clone, Debug, PartialEq)]
pub struct PlanSplitter {
    /// Its id.
    pub id: String,
    /// Place.
    pub at: (f64, f64),
    /// An open finding is about it.
    pub trouble: bool,
    /// How it divides the water now, where enough doses tell.
    pub level: Option<Level>,
    /// What sides a and b feed, as short as it can be said.
    pub sides: [String; 2],
    /// Its page.
    pub page: String,
}

/// A sensor in the table.
#[derive(Clone, Debug, PartialEq)]
pub struct SensorRow {
    /// Its name in the system.
    pub name: String,
    /// What it is, in words.
    pub words: String,
    /// Its page.
    pub page: String,
    /// Last value in words, and when.
    pub last: Option<(String, Moment)>,
    /// Why it is in doubt, where it is.
    pub doubt: Option<(Urgency, String)>,
    /// The system file names it, rather than it being heard at its default topic.
    pub declared: bool,
}

/// A finding that is over.
#[derive(Clone, Debug, PartialEq)]
pub struct PastSheet {
    /// What was wrong.
    pub kind: FindingKind,
    /// The finding as one sentence.
    pub headline: String,
    /// When it was raised.
    pub raised: Moment,
    /// When it was over.
    pub cleared: Moment,
    /// How long that was, in words.
    pub lasted: String,
}
