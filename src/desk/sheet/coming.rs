//! What is coming at a system.

use super::Urgency;

/// What is coming at one system.
#[derive(Clone, Debug, PartialEq)]
pub struct ComingRow {
    /// What to do and where.
    pub title: String,
    /// How soon.
    pub urgency: Urgency,
    /// By when.
    pub due: String,
    /// Why.
    pub reason: String,
}
