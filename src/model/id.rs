//! Checked identifiers of systems, properties, splitters and basins.

use std::borrow::Borrow;
use std::fmt;
use std::sync::Arc;

use serde::{Deserialize, Serialize};

/// An identifier: 1 to 48 characters out of `a`–`z`, `0`–`9` and `-`. Cheap to clone.
#[derive(Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Id(Arc<str>);

/// Why a text is no [`Id`].
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum IdFault {
    /// The text is empty.
    #[error("an id needs at least one character")]
    Empty,
    /// The text is longer than [`Id::MAX_LEN`].
    #[error("an id has at most 48 characters, this one has {0}")]
    TooLong(usize),
    /// A character is not allowed.
    #[error("`{0}` is not allowed in an id: use a-z, 0-9 and -")]
    Character(char),
}

impl Id {
    /// Longest allowed id, in characters.
    pub const MAX_LEN: usize = 48;

    /// Checks and keeps `text`.
    pub fn new(text: &str) -> Result<Self, IdFault> {
        if text.is_empty() {
            return Err(IdFault::Empty);
        }
        let allowed = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-';
        if let Some(bad) = text.chars().find(|&c| !allowed(c)) {
            return Err(IdFault::Character(bad));
        }
        if text.len() > Self::MAX_LEN {
            return Err(IdFault::TooLong(text.len()));
        }
        Ok(Self(text.into()))
    }

    /// The text.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl fmt::Display for Id {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl fmt::Debug for Id {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:?}", &*self.0)
    }
}

impl Borrow<str> for Id {
    fn borrow(&self) -> &str {
        &self.0
    }
}

impl TryFrom<String> for Id {
    type Error = IdFault;
    fn try_from(text: String) -> Result<Self, IdFault> {
        Self::new(&text)
    }
}

impl From<Id> for String {
    fn from(id: Id) -> Self {
        id.as_str().to_owned()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_id_is_short_lower_case_and_plain() {
        assert_eq!(Id::new("alder-court-2").unwrap().as_str(), "alder-court-2");
        assert_eq!(Id::new(""), Err(IdFault::Empty));
        assert_eq!(Id::new("Alder"), Err(IdFault::Character('A')));
        assert_eq!(Id::new("a b"), Err(IdFault::Character(' ')));
        assert_eq!(Id::new(&"a".repeat(49)), Err(IdFault::TooLong(49)));
        assert!(Id::new(&"a".repeat(48)).is_ok());
    }
}
