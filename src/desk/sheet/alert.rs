//! Alerts: findings on their way through people.

use super::{AlertsAsked, Choices, FindingSheet, Moment, TimelineSheet, Urgency};
use crate::alerts::{AlertNo, Stage};

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
    /// Most urgent first; closed ones newest first.
    pub rows: Vec<AlertRow>,
    /// There are more than are shown.
    pub more: bool,
    /// Why what was asked for was not done, where it was not.
    pub problem: Option<String>,
    /// What was ticked then.
    pub ticked: Vec<AlertNo>,
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
    /// It waits for somebody.
    pub is_open: bool,
    /// It is closed.
    pub is_closed: bool,
    /// Its finding is over although it is not closed: somebody reopened it.
    pub is_over: bool,
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
