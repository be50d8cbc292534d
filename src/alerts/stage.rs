//! Where an alert stands, and the steps that led there.

use std::fmt;

use serde::{Deserialize, Serialize};

use crate::model::{EventTime, Severity};

/// The number of an alert; never used twice.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct AlertNo(pub u64);

/// Where an alert stands.
///
/// ```text
///            acknowledge          clears, or a person closes
///   Open ---------------> Acknowledged ----------------------> Closed
///    | ^                      |  ^                              |  ^
///    | +-- turns worse, or    |  |                              |  |
///    | |   it was taken back -+  |                              |  |
///    | ^                         |    returns soon, or reopened |  |
///    | +----------------------------------------------------<---+  |
///    |     acknowledge           |                                 |
///    +--> Snoozed ---------------+---------------------------------+
///            |  the time is up, turns worse, or it was taken back: Open
/// ```
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "stage", rename_all = "kebab-case")]
pub enum Stage {
    /// Nobody has taken it on.
    Open {
        /// Since when.
        since: EventTime,
    },
    /// Somebody takes care of it.
    Acknowledged {
        /// Since when.
        at: EventTime,
        /// Who.
        by: String,
    },
    /// Somebody wants to hear of it later.
    Snoozed {
        /// When it opens again.
        until: EventTime,
        /// Who.
        by: String,
    },
    /// It is over.
    Closed {
        /// Since when.
        at: EventTime,
        /// How that came.
        how: Closing,
    },
}

/// How an alert came to its end.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "how", rename_all = "kebab-case")]
pub enum Closing {
    /// The finding cleared.
    Cleared,
    /// A person closed it while the finding still stood.
    Dismissed {
        /// Who.
        by: String,
        /// Why.
        reason: String,
    },
}

/// What was done in one step. Who did it and when stands beside it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "did", rename_all = "kebab-case")]
pub enum Deed {
    /// The finding was raised.
    Opened,
    /// The finding was raised again soon after the alert was closed.
    Returned,
    /// The finding became more severe.
    Worsened {
        /// How severe it is now.
        to: Severity,
    },
    /// The finding became less severe.
    Eased {
        /// How severe it is now.
        to: Severity,
    },
    /// The finding cleared, which closed the alert.
    Cleared,
    /// Somebody takes care of it.
    Acknowledged,
    /// Somebody wants to hear of it later.
    Snoozed {
        /// When it opens again.
        until: EventTime,
    },
    /// The time of a snooze was up.
    Woke,
    /// Somebody took back that it was acknowledged or snoozed.
    Withdrawn,
    /// Closed by a person.
    Closed {
        /// Why.
        reason: String,
    },
    /// Opened again by a person.
    Reopened {
        /// Why.
        reason: String,
    },
    /// Something worth remembering.
    Noted {
        /// What.
        text: String,
    },
    /// Recognised as a consequence of another alert.
    Folded {
        /// The cause.
        under: AlertNo,
    },
    /// Stands on its own again.
    Unfolded,
}

impl Stage {
    /// The word for it everywhere.
    pub const fn name(&self) -> &'static str {
        match self {
            Self::Open { .. } => "open",
            Self::Acknowledged { .. } => "acknowledged",
            Self::Snoozed { .. } => "snoozed",
            Self::Closed { .. } => "closed",
        }
    }

    /// Whether it waits for somebody.
    pub const fn is_open(&self) -> bool {
        matches!(self, Self::Open { .. })
    }

    /// Whether it is over.
    pub const fn is_closed(&self) -> bool {
        matches!(self, Self::Closed { .. })
    }
}

impl Deed {
    /// Whether people have to be told anew, whatever they were told before.
    pub const fn calls_anew(&self) -> bool {
        match self {
            Self::Opened
            | Self::Returned
            | Self::Worsened { .. }
            | Self::Woke
            | Self::Withdrawn
            | Self::Reopened { .. } => true,
            Self::Eased { .. }
            | Self::Cleared
            | Self::Acknowledged
            | Self::Snoozed { .. }
            | Self::Closed { .. }
            | Self::Noted { .. }
            | Self::Folded { .. }
            | Self::Unfolded => false,
        }
    }
}

impl fmt::Display for AlertNo {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}
