//! Alerts: findings on their way through people.

use super::{AlertsAsked, Choices, FindingSheet, Moment, TimelineSheet, Urgency};
use crate::alerts::{AlertNo, Stage};

/// What a form and a program call it when an acknowledgement or a snooze is taken back.
pub const TAKE_BACK: &str = "take-back";

/// Which alerts a list shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum AlertChoice {
    /// All that are not over.
    #[default]
    Standing,
    /// Those that wait for somebody.
    Open,
    /// Those that somebody takes care of.
    Acknowledged,
    /// Those that somebody wants to hear of later.
    Snoozed,
    /// Those that are over.
    Closed,
    /// All of them.
    All,
}

/// A list of alerts.
#[derive(Clone, Debug, PartialEq)]
pub struct AlertsSheet {
    /// What the address asks for.
    pub asked: AlertsAsked,
    /// Of which stage.
    pub choice: AlertChoice,
    /// What of it is not understood.
    pub puzzle: Option<String>,
    /// What a list can be narrowed down to.
    pub choices: Choices,
    /// How many stand; none where nobody counted.
    pub counts: Option<StageCounts>,
    /// Most urgent first; closed ones newest first.
    pub rows: Vec<AlertRow>,
    /// There are more than are shown.
    pub more: bool,
    /// Why what was asked for was not done, where it was not.
    pub problem: Option<String>,
    /// What was ticked then.
    pub ticked: Vec<AlertNo>,
    /// What was done a moment ago, as a sentence.
    pub done: Option<String>,
}

/// How many alerts stand, by where they stand.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub struct StageCounts {
    /// Wait for somebody.
    pub open: usize,
    /// Somebody takes care of.
    pub acknowledged: usize,
    /// Somebody wants to hear of later.
    pub snoozed: usize,
}

impl StageCounts {
    /// How many of these alerts stand.
    pub fn of<'s>(stages: impl IntoIterator<Item = &'s Stage>) -> Self {
        let mut counts = Self::default();
        for stage in stages {
            match At::of(stage) {
                At::Open => counts.open += 1,
                At::Acknowledged => counts.acknowledged += 1,
                At::Snoozed => counts.snoozed += 1,
                At::Closed => {}
            }
        }
        counts
    }

    /// How many a list of `choice` has; none where those that are over count as well: they only ever grow.
    pub fn listed(&self, choice: AlertChoice) -> Option<usize> {
        match choice {
            AlertChoice::Standing => Some(self.open + self.acknowledged + self.snoozed),
            AlertChoice::Open => Some(self.open),
            AlertChoice::Acknowledged => Some(self.acknowledged),
            AlertChoice::Snoozed => Some(self.snoozed),
            AlertChoice::Closed | AlertChoice::All => None,
        }
    }
}

/// Where an alert stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum At {
    /// It waits for somebody.
    Open,
    /// Somebody takes care of it.
    Acknowledged,
    /// Somebody wants to hear of it later.
    Snoozed,
    /// It is closed.
    Closed,
}

impl At {
    /// Where an alert of `stage` stands.
    pub const fn of(stage: &Stage) -> Self {
        match stage {
            Stage::Open { .. } => Self::Open,
            Stage::Acknowledged { .. } => Self::Acknowledged,
            Stage::Snoozed { .. } => Self::Snoozed,
            Stage::Closed { .. } => Self::Closed,
        }
    }
}

impl AlertRow {
    /// It is closed.
    pub fn is_closed(&self) -> bool {
        self.at == At::Closed
    }

    /// What it tells of is over.
    pub fn is_past(&self) -> bool {
        self.is_over || (self.is_closed() && !self.still_stands)
    }
}

/// One alert in a list.
#[derive(Clone, Debug, PartialEq)]
pub struct AlertRow {
    /// Its number.
    pub no: AlertNo,
    /// The finding as one sentence.
    pub headline: String,
    /// How urgent.
    pub urgency: Urgency,
    /// Id and name of the system.
    pub system: (String, String),
    /// When it was opened.
    pub opened: Moment,
    /// When its finding was raised last, if it was over in between.
    pub again: Option<Moment>,
    /// Where it stands, in words: `acknowledged by Maria, today 08:15`.
    pub stage: String,
    /// The same for what can be done with it.
    pub at: At,
    /// Its finding is over although it is not closed: somebody reopened it.
    pub is_over: bool,
    /// It is closed although its finding goes on: somebody closed it.
    pub still_stands: bool,
    /// How many are folded under it.
    pub folded: u32,
}

/// Another alert about the same signs.
#[derive(Clone, Debug, PartialEq)]
pub struct RivalRow {
    /// Its number.
    pub no: AlertNo,
    /// Its finding as one sentence.
    pub headline: String,
    /// It explains the signs better; otherwise it was thought so before.
    pub better: bool,
    /// Since when the better one stands, or until when the other did.
    pub at: Moment,
}

/// An alert that was reopened after its finding was over.
#[derive(Clone, Debug, PartialEq)]
pub struct Reopened {
    /// Since when the finding is over, where the alert saw it end.
    pub over_since: Option<Moment>,
    /// Who reopened it.
    pub by: String,
    /// When.
    pub at: Moment,
    /// Why; empty where they did not say.
    pub reason: String,
}

/// Everything about one alert.
#[derive(Clone, Debug, PartialEq)]
pub struct AlertSheet {
    /// What a list says of it.
    pub row: AlertRow,
    /// The day there, and whose clock times are told by.
    pub today: String,
    /// The finding.
    pub finding: FindingSheet,
    /// Who reopened it after its finding was over, where it stands only for that.
    pub reopened: Option<Reopened>,
    /// Page and name of what it is about.
    pub about: Option<(String, String)>,
    /// What explains it: the explanation in words, and its probability. Most probable first; empty where there
    /// is no doubt what it is.
    pub explanations: Vec<(String, f64)>,
    /// The check that tells the first two apart.
    pub check: Option<&'static str>,
    /// Alerts about the same signs that took its place, or whose place it took.
    pub rivals: Vec<RivalRow>,
    /// The alert that it is a consequence of.
    pub under: Option<AlertNo>,
    /// Alerts that are its consequences.
    pub folded: Vec<AlertRow>,
    /// What was done and who was told: when, by whom, what. Oldest first.
    pub steps: Vec<(Moment, String, String)>,
    /// The course of things around it.
    pub picture: TimelineSheet,
    /// Why what was asked for was not done, where it was not.
    pub problem: Option<String>,
}

impl AlertChoice {
    /// Every choice.
    pub const ALL: [Self; 6] =
        [Self::Standing, Self::Open, Self::Acknowledged, Self::Snoozed, Self::Closed, Self::All];

    /// The word for it in addresses and on pages.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Standing => "standing",
            Self::Open => "open",
            Self::Acknowledged => "acknowledged",
            Self::Snoozed => "snoozed",
            Self::Closed => "closed",
            Self::All => "all",
        }
    }

    /// Whether it lets an alert at `stage` through.
    pub fn lets_through(self, stage: &Stage) -> bool {
        match self {
            Self::Standing => !stage.is_closed(),
            Self::Open => stage.is_open(),
            Self::Acknowledged => matches!(stage, Stage::Acknowledged { .. }),
            Self::Snoozed => matches!(stage, Stage::Snoozed { .. }),
            Self::Closed => stage.is_closed(),
            Self::All => true,
        }
    }

    /// The choice called `name`.
    pub fn named(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|choice| choice.name() == name)
    }
}
