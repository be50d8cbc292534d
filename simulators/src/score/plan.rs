//! Which scenarios are run with which seeds, and which row of the scoreboard each counts for.

use serde::Serialize;

use crate::fault::{Course, FaultKind};
use crate::scenario::Scenario;
use crate::sensor::Ailment;

/// Two sets of seeds that never meet: what was tuned on one is reported on the other.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Seeds {
    /// For trying things out while the engine is being made.
    Tuning,
    /// For the published figures.
    Reporting,
}

impl Seeds {
    fn first(self) -> u64 {
        match self {
            Self::Tuning => 1,
            Self::Reporting => 1_000_001,
        }
    }
}

/// A drift that takes longer creeps: another thing to find than the one that a goal is about.
const DRIFTS_DAYS: f64 = 30.0;

/// What a scenario is an instance of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Class {
    /// Nothing is wrong.
    Healthy,
    /// One outlet closes at once.
    OutletBlocked,
    /// One splitter steps off level.
    SplitterStep,
    /// One splitter settles slowly.
    SplitterDrift,
    /// One moisture probe dies or freezes.
    ProbeGone,
    /// One basin silts up.
    Clogging,
    /// Water comes although the diverter says sewer or nobody uses any.
    UnexpectedWater,
    /// Anything else.
    Other,
}

impl Class {
    /// The class of a scenario, told from its faults.
    pub fn of(scenario: &Scenario) -> Self {
        match (&scenario.faults[..], &scenario.troubles[..]) {
            ([], []) => Self::Healthy,
            ([fault], []) => match (&fault.kind, fault.course) {
                (FaultKind::Blockage { closed, .. }, Course::Step) if *closed > 0.99 => Self::OutletBlocked,
                (FaultKind::Tilt { .. }, Course::Step) => Self::SplitterStep,
                (FaultKind::Tilt { .. }, Course::Linear { days }) if days <= DRIFTS_DAYS => {
                    Self::SplitterDrift
                }
                (FaultKind::MulchClogging { .. }, _) => Self::Clogging,
                (FaultKind::Leak { .. }, _) => Self::UnexpectedWater,
                _ => Self::Other,
            },
            ([], [trouble]) => match (&trouble.kind, trouble.on.as_deref()) {
                (Ailment::Dead | Ailment::Frozen, Some(sensor)) if sensor.ends_with("/moisture") => {
                    Self::ProbeGone
                }
                _ => Self::Other,
            },
            _ => Self::Other,
        }
    }

    /// Runs of a scenario of this class in the default set, so that the whole makes over 400 system-years and one run
    /// more or less does not decide whether a goal is met.
    fn runs(self) -> u64 {
        match self {
            Self::Other => 6,
            Self::Healthy | Self::UnexpectedWater => 12,
            Self::OutletBlocked | Self::ProbeGone => 16,
            Self::SplitterStep | Self::SplitterDrift | Self::Clogging => 32,
        }
    }
}

/// One run.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Job {
    /// Position of the scenario in the list.
    pub scenario: usize,
    /// Seed.
    pub seed: u64,
}

/// The runs of some scenarios, `times` the default number each; the longest first, so that no core waits at the end.
pub fn plan(scenarios: &[Scenario], seeds: Seeds, times: f64) -> Vec<Job> {
    let mut order: Vec<usize> = (0..scenarios.len()).collect();
    let work = |index: &usize| {
        let scenario: &Scenario = &scenarios[*index];
        scenario.duration.ms() * scenario.wiring.sensors.len() as i64
    };
    order.sort_by_key(|index| std::cmp::Reverse(work(index)));
    let jobs = order.into_iter().flat_map(|scenario| {
        let runs = (Class::of(&scenarios[scenario]).runs() as f64 * times).ceil().max(1.0) as u64;
        (0..runs).map(move |run| Job { scenario, seed: seeds.first() + run })
    });
    jobs.collect()
}
