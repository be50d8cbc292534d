//! Why a message could not be delivered.

use std::error::Error;
use std::fmt;

use crate::model::Span;
use crate::telemetry::chain;

/// Why a message could not be delivered, for a person.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Trouble {
    /// What is wrong, and how to mend it where that is known.
    pub says: String,
    /// The other side asked not to be tried again before this much time.
    pub not_before: Option<Span>,
}

impl Trouble {
    /// Trouble in words.
    pub fn new(says: impl Into<String>) -> Self {
        Self { says: says.into(), not_before: None }
    }

    /// An error and its causes, with `advice` after them.
    pub(super) fn of(error: &(dyn Error + 'static), advice: &str) -> Self {
        let says = chain(error).to_string();
        Self::new(if advice.is_empty() { says } else { format!("{says}: {advice}") })
    }
}

impl fmt::Display for Trouble {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.says)
    }
}
