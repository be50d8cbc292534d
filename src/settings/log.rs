//! `[log]`: what the daemon writes about itself.

use serde::Deserialize;

use super::{Kind, Section, Setting};

/// What the daemon writes about itself, on standard error.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Log {
    /// Least level written.
    pub level: Level,
    /// Form of a line.
    pub format: Format,
    /// Levels for single modules, such as `basinward::link=debug`; comma between several, empty for none.
    pub filter: String,
}

/// How much is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Level {
    /// Somebody must act.
    Error,
    /// Something is not as it should be.
    Warn,
    /// What a person who runs the daemon wants to know.
    Info,
    /// For finding a fault.
    Debug,
    /// Everything.
    Trace,
}

/// Form of a log line.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Format {
    /// For people.
    Text,
    /// One JSON object a line, for machines.
    Json,
}

pub(super) const SECTION: Section = Section {
    name: "log",
    meaning: "What the daemon writes about itself, on standard error",
    settings: &[
        Setting {
            key: "level",
            kind: Kind::OneOf(&["error", "warn", "info", "debug", "trace"]),
            default: "info",
            meaning: "Least level to write",
        },
        Setting {
            key: "format",
            kind: Kind::OneOf(&["text", "json"]),
            default: "text",
            meaning: "Lines for people, or one JSON object a line for machines",
        },
        Setting {
            key: "filter",
            kind: Kind::LogFilter,
            default: "",
            meaning: "Levels for single modules, such as \"basinward::link=debug\"; a comma between several",
        },
    ],
};
