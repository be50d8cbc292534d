//! `[ledger]`: what is kept, and for how long.

use serde::Deserialize;

use super::conflict::Conflict;
use super::{Kind, Section, Setting};

/// What is kept, and for how long.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Ledger {
    /// Days to keep every single reading.
    pub readings_days: u32,
    /// Days to keep hourly figures; daily figures are kept for ever.
    pub hourly_days: u32,
    /// Days to keep messages about alerts that are over.
    pub messages_days: u32,
    /// Longest wait before a batch is committed, in milliseconds.
    pub commit_every_ms: u32,
}

pub(super) const SECTION: Section = Section {
    name: "ledger",
    meaning: "What is kept, and for how long. Daily figures, findings and service records are kept for ever",
    settings: &[
        Setting {
            key: "readings_days",
            kind: Kind::Whole { min: 1, max: 36_500, unit: "days" },
            default: "400",
            meaning: "How long to keep every single reading",
        },
        Setting {
            key: "hourly_days",
            kind: Kind::Whole { min: 1, max: 36_500, unit: "days" },
            default: "1830",
            meaning: "How long to keep hourly figures (least, mean, greatest, count)",
        },
        Setting {
            key: "messages_days",
            kind: Kind::Whole { min: 31, max: 36_500, unit: "days" },
            default: "1830",
            meaning: "How long to keep what was sent to whom about alerts that are over; the alerts and their steps stay",
        },
        Setting {
            key: "commit_every_ms",
            kind: Kind::Whole { min: 1, max: 1_000, unit: "milliseconds" },
            default: "20",
            meaning: "Longest wait before the messages at hand are committed and acknowledged",
        },
    ],
};

impl Ledger {
    pub(super) fn conflicts(&self) -> Vec<Conflict> {
        if self.hourly_days >= self.readings_days {
            return Vec::new();
        }
        vec![Conflict {
            between: &["ledger.hourly_days", "ledger.readings_days"],
            what: format!(
                "`hourly_days` ({}) is shorter than `readings_days` ({})",
                self.hourly_days, self.readings_days
            ),
            how: format!("write at least {}, or shorten `readings_days`", self.readings_days),
        }]
    }
}
