//! What people tell an engine: work done on a part of a system.

use serde::{Deserialize, Serialize};

use super::{EventTime, FindingKind, Id, Place, Quantity, Subject, System, service};

/// Something that a person did and that changes what the readings mean from then on.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub enum Command {
    /// Work on one part.
    Serviced(Service),
    /// A depth of mulch that was told before was wrong.
    Corrected(Depths),
    /// Somebody who ran water for a test will run no more: what came is a dose of its own, whatever follows.
    RunEnded {
        /// When the last of it had left the pipe.
        at: EventTime,
    },
    /// Water was caught below the outlets.
    Caught(Catch),
}

/// Water that was caught in buckets in one run: what each outlet passed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Catch {
    /// When.
    pub at: EventTime,
    /// Litres below each outlet that had a bucket, by basin.
    pub litres: Vec<(Id, f64)>,
}

/// What a corrected record of work says of the mulch of one basin.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Depths {
    /// When the work was finished, as the engine was told of it.
    pub at: EventTime,
    /// Where.
    pub basin: Id,
    /// Depth found before the work, mm, if anybody measured it.
    pub found_mm: Option<f64>,
    /// Depth left after the work, mm, if anybody measured it.
    pub left_mm: Option<f64>,
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

impl Work {
    /// Every kind.
    pub const ALL: [Self; 12] = [
        Self::OutletCleared,
        Self::SplitterLevelled,
        Self::MulchRenewed,
        Self::BasinLoosened,
        Self::SensorReplaced(Quantity::Moisture),
        Self::SensorReplaced(Quantity::Float),
        Self::SensorReplaced(Quantity::Overflow),
        Self::SensorReplaced(Quantity::Meter),
        Self::SensorReplaced(Quantity::Rain),
        Self::BatteryChanged,
        Self::DiverterExercised,
        Self::LineCleared,
    ];

    /// The word for it everywhere.
    pub const fn name(self) -> &'static str {
        match self {
            Self::OutletCleared => "outlet-cleared",
            Self::SplitterLevelled => "splitter-levelled",
            Self::MulchRenewed => "mulch-renewed",
            Self::BasinLoosened => "basin-loosened",
            Self::SensorReplaced(Quantity::Moisture) => "moisture-probe-replaced",
            Self::SensorReplaced(Quantity::Float) => "float-replaced",
            Self::SensorReplaced(Quantity::Overflow) => "overflow-float-replaced",
            Self::SensorReplaced(Quantity::Temperature) => "thermometer-replaced",
            Self::SensorReplaced(Quantity::Battery) => "battery-gauge-replaced",
            Self::SensorReplaced(Quantity::Meter) => "meter-replaced",
            Self::SensorReplaced(Quantity::Diverter) => "diverter-switch-replaced",
            Self::SensorReplaced(Quantity::Rain) => "rain-gauge-replaced",
            Self::BatteryChanged => "battery-changed",
            Self::DiverterExercised => "diverter-exercised",
            Self::LineCleared => "line-cleared",
        }
    }

    /// The name as words.
    pub fn words(self) -> String {
        self.name().replace('-', " ")
    }

    /// The kind called `name`.
    pub fn named(name: &str) -> Option<Self> {
        let rare = [Quantity::Temperature, Quantity::Battery, Quantity::Diverter].map(Self::SensorReplaced);
        Self::ALL.into_iter().chain(rare).find(|work| work.name() == name)
    }

    /// Whether it can be done at `subject`.
    pub fn fits(self, subject: &Subject, system: &System) -> bool {
        match (self, subject) {
            (Self::OutletCleared | Self::MulchRenewed | Self::BasinLoosened, Subject::Basin(_))
            | (Self::SplitterLevelled, Subject::Splitter(_))
            | (Self::BatteryChanged, Subject::Basin(_) | Subject::Sensor(_))
            | (Self::DiverterExercised, Subject::Diverter)
            | (Self::LineCleared, Subject::Source) => true,
            (Self::SensorReplaced(quantity), Subject::Basin(id)) => system
                .find_basin(id.as_str())
                .is_some_and(|basin| system.find_sensor(Place::Basin(basin), quantity).is_some()),
            (Self::SensorReplaced(quantity), Subject::Sensor(name)) => {
                name.rsplit('/').next() == Some(quantity.name())
            }
            (
                Self::OutletCleared
                | Self::MulchRenewed
                | Self::BasinLoosened
                | Self::SplitterLevelled
                | Self::SensorReplaced(_)
                | Self::BatteryChanged
                | Self::DiverterExercised
                | Self::LineCleared,
                _,
            ) => false,
        }
    }

    /// The findings about `subject` that this work is to end: kind, and the finding's own subject. Whether water
    /// still stands is for the floats to say, so no work ends a flood or a pond.
    pub fn ends(self, subject: &Subject) -> Vec<(FindingKind, Subject)> {
        const DOUBTS: [FindingKind; 3] =
            [FindingKind::SensorSilent, FindingKind::SensorStuck, FindingKind::SensorImplausible];
        let sensor = |quantity: Quantity| match subject {
            Subject::Basin(basin) => Some(Subject::Sensor(format!("{basin}/{quantity}"))),
            Subject::Sensor(name) => {
                let basin = service::basin_of_sensor(name).map(|basin| format!("{basin}/"));
                Some(Subject::Sensor(format!("{}{quantity}", basin.unwrap_or_default())))
            }
            Subject::Splitter(_) | Subject::Source | Subject::Diverter => None,
        };
        let about = |kinds: &[FindingKind], subject: Option<Subject>| {
            kinds.iter().filter_map(|kind| Some((*kind, subject.clone()?))).collect()
        };
        match self {
            Self::OutletCleared => about(&[FindingKind::BlockedOutlet], Some(subject.clone())),
            Self::SplitterLevelled => about(&[FindingKind::UnevenSplit], Some(subject.clone())),
            Self::MulchRenewed | Self::BasinLoosened => {
                about(&[FindingKind::SlowSoak], Some(subject.clone()))
            }
            Self::SensorReplaced(quantity) => about(&DOUBTS, sensor(quantity)),
            Self::BatteryChanged => about(&[FindingKind::BatteryLow], sensor(Quantity::Battery)),
            Self::LineCleared => about(&[FindingKind::NoWater], Some(Subject::Source)),
            Self::DiverterExercised => Vec::new(),
        }
    }
}

impl Command {
    /// When it was done.
    pub fn at(&self) -> EventTime {
        match self {
            Self::Serviced(service) => service.at,
            Self::Corrected(depths) => depths.at,
            Self::RunEnded { at } => *at,
            Self::Caught(caught) => caught.at,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_kind_of_work_is_found_by_its_name() {
        for work in Work::ALL {
            assert_eq!(Work::named(work.name()), Some(work));
        }
        assert_eq!(Work::named("raked"), None);
    }
}
