//! What arrived and could not be used.

use super::Moment;

/// Refusals and unassigned topics.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct HeardSheet {
    /// Messages taken in since the ledger was created.
    pub messages: u64,
    /// Readings stored since then.
    pub readings: u64,
    /// Records refused, by reason, most frequent first.
    pub refusals: Vec<RefusalSheet>,
    /// Topics under the prefix that no system claims.
    pub strays: Vec<StraySheet>,
    /// Where sensors publish, and what their topics begin with.
    pub published: (String, String),
}

/// Records refused for one reason.
#[derive(Clone, Debug, PartialEq)]
pub struct RefusalSheet {
    /// The reason's short name.
    pub reason: String,
    /// How many.
    pub count: u64,
    /// Examples, latest first.
    pub samples: Vec<RefusedAt>,
}

/// One record that was refused.
#[derive(Clone, Debug, PartialEq)]
pub struct RefusedAt {
    /// When.
    pub at: Moment,
    /// On which topic.
    pub topic: String,
    /// The page of the system that the topic names, and what it is called.
    pub page: Option<(String, String)>,
    /// A glimpse of the payload.
    pub payload: String,
    /// What was wrong with it.
    pub detail: String,
}

/// A topic that was heard and belongs to no sensor.
#[derive(Clone, Debug, PartialEq)]
pub struct StraySheet {
    /// The topic.
    pub topic: String,
    /// The page of the system that the topic names, and what it is called.
    pub page: Option<(String, String)>,
    /// How many messages.
    pub count: u64,
    /// When the last one came.
    pub last: Moment,
    /// A glimpse of the last payload.
    pub payload: String,
}
