//! Pieces of maintenance.

use std::fmt;

use serde::{Deserialize, Serialize};

use crate::model::{EventTime, FindingKind, Id, Severity, Span, Subject, Work};

/// Kinds of task.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum TaskKind {
    /// Take old mulch and silt out of a basin that holds water, and loosen its floor.
    LoosenBasin,
    /// Free an outlet of what holds its water back.
    ClearOutlet,
    /// Free the pipe before the first splitter.
    ClearLine,
    /// Find where water comes from that nobody used.
    FindLeak,
    /// Set a splitter level.
    LevelSplitter,
    /// See whether the ground under a splitter or its pipes settled, and bed it anew.
    CheckSlope,
    /// Put new chips into a basin.
    RenewMulch,
    /// Prove a split with water run on purpose.
    FlowTest,
    /// Mend or replace a sensor.
    CheckProbe,
    /// Change a battery.
    ChangeBattery,
    /// Look at an outlet.
    InspectOutlet,
    /// Turn the diverter to sewer and back.
    ExerciseDiverter,
    /// Look at what no sensor sees.
    YearlyLook,
}

/// When a task is worth doing, should be done, and must be done.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Window {
    /// Sooner would be for nothing.
    pub earliest: EventTime,
    /// The day to meet.
    pub due: EventTime,
    /// Later, what the task is to prevent is likely.
    pub latest: EventTime,
}

/// Something to bring that is used up.
#[derive(Clone, Debug, PartialEq)]
pub struct Material {
    /// What it is.
    pub what: &'static str,
    /// How much.
    pub quantity: f64,
    /// Of what; empty for pieces.
    pub unit: &'static str,
}

/// What tells one task from another: a task that is derived anew is the same as long as this is.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct TaskKey {
    /// The system.
    pub system: Id,
    /// What to do.
    pub kind: TaskKind,
    /// Where.
    pub subject: Subject,
}

/// A piece of maintenance.
#[derive(Clone, Debug, PartialEq)]
pub struct Task {
    /// What and where.
    pub key: TaskKey,
    /// The property that the visit goes to.
    pub property: Id,
    /// When.
    pub window: Window,
    /// How urgent.
    pub urgency: Severity,
    /// Something is wrong already; otherwise the task prevents it.
    pub mends: bool,
    /// Why, in one sentence with the numbers.
    pub reason: String,
    /// What is used up.
    pub materials: Vec<Material>,
    /// How long it takes, minutes (common practice, no published source).
    pub minutes: u32,
}

impl Window {
    /// Worth doing from `now` on, due after and at the latest after that.
    pub(super) fn from_now(now: EventTime, due: Span, latest: Span) -> Self {
        Self { earliest: now, due: now + due, latest: now + latest }
    }
}

impl TaskKind {
    /// Every kind, in the order in which they are done on a visit: water that stands first, proof after the work.
    pub const ALL: [Self; 13] = [
        Self::LoosenBasin,
        Self::ClearOutlet,
        Self::ClearLine,
        Self::FindLeak,
        Self::LevelSplitter,
        Self::CheckSlope,
        Self::RenewMulch,
        Self::FlowTest,
        Self::CheckProbe,
        Self::ChangeBattery,
        Self::InspectOutlet,
        Self::ExerciseDiverter,
        Self::YearlyLook,
    ];

    /// The word for it everywhere.
    pub const fn name(self) -> &'static str {
        match self {
            Self::LoosenBasin => "loosen-basin",
            Self::ClearOutlet => "clear-outlet",
            Self::ClearLine => "clear-line",
            Self::FindLeak => "find-leak",
            Self::LevelSplitter => "level-splitter",
            Self::CheckSlope => "check-slope",
            Self::RenewMulch => "renew-mulch",
            Self::FlowTest => "flow-test",
            Self::CheckProbe => "check-probe",
            Self::ChangeBattery => "change-battery",
            Self::InspectOutlet => "inspect-outlet",
            Self::ExerciseDiverter => "exercise-diverter",
            Self::YearlyLook => "yearly-look",
        }
    }

    /// The kind called `name`.
    pub fn named(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.name() == name)
    }

    /// The work that a record of it names.
    pub const fn work(self) -> &'static [Work] {
        match self {
            Self::LoosenBasin => &[Work::BasinLoosened, Work::MulchRenewed],
            Self::ClearOutlet => &[Work::OutletCleared],
            Self::ClearLine => &[Work::LineCleared],
            // Who finds that the ground settled beds the splitter anew.
            Self::LevelSplitter | Self::CheckSlope => &[Work::SplitterLevelled],
            Self::RenewMulch => &[Work::MulchRenewed],
            Self::ChangeBattery => &[Work::BatteryChanged],
            Self::ExerciseDiverter => &[Work::DiverterExercised],
            Self::FindLeak | Self::FlowTest | Self::CheckProbe | Self::InspectOutlet | Self::YearlyLook => {
                &[]
            }
        }
    }

    /// Whether it mends a finding of `kind` at the same place.
    pub const fn mends(self, kind: FindingKind) -> bool {
        match kind {
            FindingKind::Flooding | FindingKind::Ponding => matches!(self, Self::LoosenBasin),
            FindingKind::SlowSoak => matches!(self, Self::LoosenBasin | Self::RenewMulch),
            FindingKind::BlockedOutlet => matches!(self, Self::ClearOutlet),
            FindingKind::UnevenSplit => matches!(self, Self::LevelSplitter | Self::CheckSlope),
            FindingKind::NoWater => matches!(self, Self::ClearLine),
            FindingKind::UnexpectedWater => matches!(self, Self::FindLeak | Self::ExerciseDiverter),
            FindingKind::SensorSilent | FindingKind::SensorStuck | FindingKind::SensorImplausible => {
                matches!(self, Self::CheckProbe)
            }
            FindingKind::BatteryLow => matches!(self, Self::ChangeBattery | Self::CheckProbe),
        }
    }

    /// Whether it is left for a visit that something else asks for, as long as nothing about it is urgent. Pipes are not:
    /// while they divide unevenly, plants go without, and the probes learn what is wrong as usual.
    pub(super) const fn can_wait(self) -> bool {
        matches!(self, Self::RenewMulch | Self::CheckProbe | Self::ChangeBattery)
    }

    /// Minutes that it takes on the spot, where the way there is not counted.
    pub(super) const fn minutes(self) -> u32 {
        match self {
            Self::LoosenBasin => 60,
            Self::RenewMulch => 45,
            Self::FindLeak => 40,
            Self::ClearOutlet | Self::CheckSlope | Self::ClearLine => 30,
            Self::LevelSplitter | Self::FlowTest | Self::YearlyLook => 20,
            Self::CheckProbe => 15,
            Self::ChangeBattery | Self::InspectOutlet | Self::ExerciseDiverter => 5,
        }
    }
}

impl fmt::Display for TaskKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

impl TaskKey {
    /// A stable text key: `alder-court-east/clear-outlet/basin:quince`.
    pub fn text(&self) -> String {
        format!("{}/{}/{}", self.system, self.kind, self.subject.key())
    }
}
