//! What a message says, as facts; the words come when it is sent.

use serde::{Deserialize, Serialize};

use crate::alerts::{AlertNo, Notice, Stage, Why};
use crate::ledger::StoredAlert;
use crate::model::{EventTime, Finding, Id, Severity};

/// Alerts listed in one message; of further ones only the number is told.
const LISTED: usize = 25;

/// What a message says.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Body {
    /// Why it is sent.
    pub why: String,
    /// The alerts, most severe first.
    pub items: Vec<Item>,
    /// How many alerts it is about, listed or not.
    pub total: usize,
    /// How many of them are critical.
    pub critical: usize,
    /// A test, about nothing real.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub test: bool,
}

/// One alert in a message.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Item {
    /// Its number.
    pub alert: AlertNo,
    /// Where.
    pub system: Id,
    /// What is wrong.
    pub finding: Finding,
    /// Since when.
    pub opened_at: EventTime,
    /// Where it stands.
    pub stage: String,
    /// It is over.
    pub over: bool,
    /// What was wrong is over, and yet it stands: somebody opened it again.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub reopened: bool,
    /// Alerts folded under it.
    pub folded: u32,
}

impl Body {
    /// The body of `notice`, whose alerts are `alerts`; `stands` tells whether what is wrong still is.
    pub fn of(notice: &Notice, alerts: &[StoredAlert], stands: impl Fn(&StoredAlert) -> bool) -> Self {
        let item = |alert| Item::of(alert, stands(alert));
        let mut items: Vec<Item> = alerts.iter().map(item).collect();
        items.sort_by_key(|item| {
            (item.over, item.reopened, std::cmp::Reverse(item.finding.severity), item.alert)
        });
        let standing = items.iter().filter(|item| !item.over && !item.reopened);
        let critical = standing.filter(|item| item.finding.severity == Severity::Critical).count();
        let total = notice.tells.len() + notice.over.len();
        items.truncate(LISTED);
        Self { why: notice.why.name().to_owned(), items, total, critical, test: false }
    }

    /// A test, about nothing.
    pub fn test() -> Self {
        Self { why: Why::Opened.name().to_owned(), items: Vec::new(), total: 0, critical: 0, test: true }
    }

    /// Why it is sent.
    pub fn reason(&self) -> Why {
        Why::named(&self.why).unwrap_or(Why::Summary)
    }

    /// The alert that it is about, if it is about one that stands.
    pub fn single(&self) -> Option<&Item> {
        match &self.items[..] {
            [item] if self.total == 1 => Some(item),
            _ => None,
        }
    }
}

impl Item {
    /// Somebody had taken it on when this was written.
    pub fn is_acknowledged(&self) -> bool {
        self.stage == "acknowledged" // as `Stage::name` has it
    }

    fn of(alert: &StoredAlert, stands: bool) -> Self {
        let over = matches!(alert.stage, Stage::Closed { .. });
        Self {
            alert: alert.no,
            system: alert.system.clone(),
            finding: alert.finding.clone(),
            opened_at: alert.opened_at,
            stage: alert.stage.name().to_owned(),
            over,
            reopened: !over && !stands,
            folded: alert.folded,
        }
    }
}
