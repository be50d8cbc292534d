//! The pieces that several pages share.

use serde::Serialize;

use super::PipeRow;
use crate::advice::{Advice, WaterNow};
use crate::alerts::AlertNo;
use crate::model::{EventTime, FindingKind, Severity};

/// An instant with its words in the system's zone.
#[derive(Clone, Debug, PartialEq)]
pub struct Moment {
    /// The instant.
    pub at: EventTime,
    /// For people: `today 14:05`, `3 Mar 14:05`.
    pub words: String,
}

/// How soon somebody has to do something. Most urgent first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Urgency {
    /// A critical finding is open.
    Now,
    /// A warning is open.
    Soon,
    /// Something to look at on the next visit.
    NextVisit,
    /// Nothing is wrong, and planned work falls due soon.
    Work,
    /// No sensor was heard yet, or not each of them, so what is known is not enough.
    Unheard,
    /// Heard, and nothing is wrong.
    Fine,
}

/// An open finding.
#[derive(Clone, Debug, PartialEq)]
pub struct FindingSheet {
    /// What is wrong.
    pub kind: FindingKind,
    /// Name of the finding's place on the page, unique in its system.
    pub anchor: String,
    /// The basin that it is about, as people call it.
    pub basin: Option<String>,
    /// The finding as one sentence.
    pub headline: String,
    /// Where the water of a flood or pond stands now.
    pub water: Option<WaterNow>,
    /// How much, or where its water stands now, in a sentence.
    pub gist: Option<String>,
    /// How soon.
    pub urgency: Urgency,
    /// When it was raised.
    pub since: Moment,
    /// When it began, where that is known and was before it was found.
    pub began: Option<Moment>,
    /// Page and name of what it is about, where the page that shows it is another.
    pub about: Option<(String, String)>,
    /// The alert that calls for somebody, where there is one.
    pub alert: Option<AlertMark>,
    /// Probability that it is right, 0 to 1.
    pub probability: f64,
    /// What it measured, name and value in words.
    pub estimates: Vec<(String, String)>,
    /// What it rests on, with the time of the observation where it has one.
    pub evidence: Vec<(Option<Moment>, String)>,
    /// What else could explain it, where that is likely enough to be looked at.
    pub doubt: Option<Doubt>,
    /// What to do.
    pub advice: Advice,
    /// What to bring for it, counted where a task counts it.
    pub bring: Vec<String>,
}

/// The alert of a finding.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct AlertMark {
    /// Its number.
    pub no: AlertNo,
    /// What somebody did with it, in words; none where it waits for somebody.
    pub stage: Option<String>,
}

/// The next likely explanation of a finding.
#[derive(Clone, Debug, PartialEq)]
pub struct Doubt {
    /// What it would be, and where.
    pub words: String,
    /// Its probability, 0 to 1.
    pub probability: f64,
    /// The check on the spot that tells the two apart.
    pub check: Option<&'static str>,
}

/// How wet the soil is, against what its class holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum SoilBand {
    /// Below the wilting point.
    Dry,
    /// Between wilting point and field capacity.
    Moist,
    /// Above field capacity: still draining.
    Wet,
    /// Nearly every pore holds water.
    Soaked,
}

/// The last moisture reading of a basin.
#[derive(Clone, Debug, PartialEq)]
pub struct SoilWater {
    /// Volumetric water content, m³/m³.
    pub content: f64,
    /// What that means in this soil.
    pub band: SoilBand,
    /// When it was measured.
    pub read: Moment,
    /// Too old to describe the present.
    pub old: bool,
}

/// A float of a basin.
#[derive(Clone, Debug, PartialEq)]
pub enum FloatSheet {
    /// There is one, but it was not heard yet.
    Unheard,
    /// Its last reading.
    Read {
        /// Up: water stands at it.
        wet: bool,
        /// When it said so.
        read: Moment,
        /// Too old to describe the present.
        old: bool,
    },
}

/// One basin with its last readings.
#[derive(Clone, Debug, PartialEq)]
pub struct BasinSheet {
    /// Its id.
    pub id: String,
    /// What people call it.
    pub label: String,
    /// Design share of each dose, 0 to 1.
    pub share: f64,
    /// The pipes that lead to it, for the drawing in the margin.
    pub pipes: PipeRow,
    /// Most urgent finding about it, and that finding in words.
    pub trouble: Option<(Urgency, &'static str)>,
    /// Moisture: `None` without a reading.
    pub soil: Option<SoilWater>,
    /// It has a moisture probe, heard or not.
    pub has_probe: bool,
    /// Float, where there is one.
    pub float: Option<FloatSheet>,
    /// Overflow float, where there is one.
    pub overflow: Option<FloatSheet>,
    /// Height of the standing water that the floats tell of, as a fraction of the basin's depth.
    pub water_level: Option<f64>,
}

impl Urgency {
    /// Every level, most urgent first.
    pub const ALL: [Self; 6] =
        [Self::Now, Self::Soon, Self::NextVisit, Self::Work, Self::Unheard, Self::Fine];

    /// The urgency of a finding of `severity`.
    pub const fn of(severity: Severity) -> Self {
        match severity {
            Severity::Critical => Self::Now,
            Severity::Warning => Self::Soon,
            Severity::Info => Self::NextVisit,
        }
    }

    /// The word beside its mark.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Now => "now",
            Self::Soon => "soon",
            Self::NextVisit => "next visit",
            Self::Work => "work due",
            Self::Unheard => "sensors not heard yet",
            Self::Fine => "fine",
        }
    }

    /// Name of its style.
    pub const fn class(self) -> &'static str {
        match self {
            Self::Now => "now",
            Self::Soon => "soon",
            Self::NextVisit => "visit",
            Self::Work => "work",
            Self::Unheard => "unheard",
            Self::Fine => "fine",
        }
    }
}

impl SoilBand {
    /// The word for it.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Dry => "dry",
            Self::Moist => "moist",
            Self::Wet => "wet",
            Self::Soaked => "soaked",
        }
    }
}

impl FloatSheet {
    /// The float was last heard up.
    pub fn is_wet(&self) -> bool {
        matches!(self, Self::Read { wet: true, .. })
    }
}
