//! Findings: what the program concluded is wrong.

use std::fmt;

use serde::{Deserialize, Serialize};

use super::{EventTime, Id};

/// Kinds of finding.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum FindingKind {
    /// Standing water past the flood hold, or an overflow float wet.
    Flooding,
    /// Standing water much longer than this basin needs.
    Ponding,
    /// Soak time trending up.
    SlowSoak,
    /// An outlet lets less water through than it should.
    BlockedOutlet,
    /// A splitter divides otherwise than designed.
    UnevenSplit,
    /// Nothing arrives though use is expected.
    NoWater,
    /// Water while the diverter says sewer, or with no use.
    UnexpectedWater,
    /// A sensor stopped reporting.
    SensorSilent,
    /// A sensor reports the same value although it should move.
    SensorStuck,
    /// A sensor reports what cannot be.
    SensorImplausible,
    /// A battery is nearly empty.
    BatteryLow,
}

/// What a finding is about.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", into = "SubjectWire", try_from = "SubjectWire")]
pub enum Subject {
    /// A splitter.
    Splitter(Id),
    /// A basin with its outlet.
    Basin(Id),
    /// A sensor, by its name inside the system.
    Sensor(String),
    /// The source.
    Source,
    /// The diverter.
    Diverter,
}

/// How urgent a finding is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Severity {
    /// Worth knowing at the next visit.
    Info,
    /// Needs a visit.
    Warning,
    /// Needs somebody now.
    Critical,
}

/// One fact that a finding rests on.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Evidence {
    /// When it was observed, if at one time.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub at: Option<EventTime>,
    /// One readable sentence.
    pub says: String,
}

/// A conclusion about one subject.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Finding {
    /// What is wrong.
    pub kind: FindingKind,
    /// Where.
    pub subject: Subject,
    /// How urgent.
    pub severity: Severity,
    /// Probability that the finding is right, 0 to 1.
    pub probability: f64,
    /// Numbers that describe it, by name with unit (`standing_h`).
    pub estimate: serde_json::Map<String, serde_json::Value>,
    /// What it rests on.
    pub evidence: Vec<Evidence>,
}

/// The shape of a [`Subject`] outside: one key, `true` where nothing needs naming.
#[derive(Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
enum SubjectWire {
    Splitter(Id),
    Basin(Id),
    Sensor(String),
    Source(bool),
    Diverter(bool),
}

impl From<Subject> for SubjectWire {
    fn from(subject: Subject) -> Self {
        match subject {
            Subject::Splitter(id) => Self::Splitter(id),
            Subject::Basin(id) => Self::Basin(id),
            Subject::Sensor(name) => Self::Sensor(name),
            Subject::Source => Self::Source(true),
            Subject::Diverter => Self::Diverter(true),
        }
    }
}

impl TryFrom<SubjectWire> for Subject {
    type Error = &'static str;
    fn try_from(wire: SubjectWire) -> Result<Self, Self::Error> {
        match wire {
            SubjectWire::Splitter(id) => Ok(Self::Splitter(id)),
            SubjectWire::Basin(id) => Ok(Self::Basin(id)),
            SubjectWire::Sensor(name) => Ok(Self::Sensor(name)),
            SubjectWire::Source(true) => Ok(Self::Source),
            SubjectWire::Diverter(true) => Ok(Self::Diverter),
            SubjectWire::Source(false) | SubjectWire::Diverter(false) => Err("a subject is true or absent"),
        }
    }
}

impl FindingKind {
    /// Every kind, most urgent first.
    pub const ALL: [Self; 11] = [
        Self::Flooding,
        Self::Ponding,
        Self::SlowSoak,
        Self::BlockedOutlet,
        Self::UnevenSplit,
        Self::NoWater,
        Self::UnexpectedWater,
        Self::SensorSilent,
        Self::SensorStuck,
        Self::SensorImplausible,
        Self::BatteryLow,
    ];

    /// The word for it everywhere.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Flooding => "flooding",
            Self::Ponding => "ponding",
            Self::SlowSoak => "slow-soak",
            Self::BlockedOutlet => "blocked-outlet",
            Self::UnevenSplit => "uneven-split",
            Self::NoWater => "no-water",
            Self::UnexpectedWater => "unexpected-water",
            Self::SensorSilent => "sensor-silent",
            Self::SensorStuck => "sensor-stuck",
            Self::SensorImplausible => "sensor-implausible",
            Self::BatteryLow => "battery-low",
        }
    }

    /// The kind called `name`.
    pub fn named(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.name() == name)
    }
}

impl Severity {
    /// The word for it everywhere.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Info => "info",
            Self::Warning => "warning",
            Self::Critical => "critical",
        }
    }

    /// The severity called `name`.
    pub fn named(name: &str) -> Option<Self> {
        [Self::Info, Self::Warning, Self::Critical].into_iter().find(|severity| severity.name() == name)
    }
}

impl fmt::Display for FindingKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

/// The subject as people read it: `basin quince`, `sensor quince/float`, `the diverter`.
impl fmt::Display for Subject {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Splitter(id) => write!(f, "splitter {id}"),
            Self::Basin(id) => write!(f, "basin {id}"),
            Self::Sensor(name) => write!(f, "sensor {name}"),
            Self::Source => f.write_str("the source"),
            Self::Diverter => f.write_str("the diverter"),
        }
    }
}

impl Subject {
    /// A stable text key: `basin:quince`, `source`.
    pub fn key(&self) -> String {
        match self {
            Self::Splitter(id) => format!("splitter:{id}"),
            Self::Basin(id) => format!("basin:{id}"),
            Self::Sensor(name) => format!("sensor:{name}"),
            Self::Source => "source".to_owned(),
            Self::Diverter => "diverter".to_owned(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn subjects_have_the_documented_shape() {
        let shape = |s: &Subject| serde_json::to_string(s).unwrap();
        assert_eq!(shape(&Subject::Splitter(Id::new("s1").unwrap())), r#"{"splitter":"s1"}"#);
        assert_eq!(shape(&Subject::Sensor("quince/moisture".into())), r#"{"sensor":"quince/moisture"}"#);
        assert_eq!(shape(&Subject::Source), r#"{"source":true}"#);
        assert_eq!(serde_json::from_str::<Subject>(r#"{"diverter":true}"#).unwrap(), Subject::Diverter);
        assert!(serde_json::from_str::<Subject>(r#"{"diverter":false}"#).is_err());
    }
}
