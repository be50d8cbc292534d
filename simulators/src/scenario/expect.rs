//! What a good observer of a scenario should find.

use serde::Deserialize;

use crate::fault::Moment;

/// The `[expect]` table of a scenario. Findings that are in neither list are false.
#[derive(Debug, Clone, PartialEq, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Expect {
    /// Findings that must be made.
    pub findings: Vec<Expectation>,
    /// Kinds of finding that may follow from the same cause, once it is there.
    pub also: Vec<String>,
}

/// One finding that must be made.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Expectation {
    /// Kind of finding, such as `blocked-outlet`.
    pub finding: String,
    /// Basin, splitter, sensor (`quince/moisture`), `source` or `diverter`.
    pub subject: String,
    /// From when it is right to say so.
    pub from: Moment,
    /// Days after that within which it should be said. (default: before the scenario ends)
    pub within: Option<f64>,
}
