//! The people of the desk: what each may do, and which properties each may see.

use std::collections::BTreeSet;
use std::fmt;

use serde::{Deserialize, Serialize};

use super::Id;

/// What a person is here for. Each role may do all that the ones before it may.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Role {
    /// Looks only.
    Viewer,
    /// Works in the yard: attends to alerts and records what was found and done.
    Technician,
    /// Plans: system files, tasks and visits.
    Manager,
    /// Decides who else may come in.
    Owner,
}

/// What somebody wants to do, where not everybody may.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Action {
    /// Look at anything within reach.
    See,
    /// Acknowledge, snooze and close alerts; record services, visits under way and flow tests.
    Attend,
    /// Change system files; plan tasks and visits.
    Plan,
    /// Decide who may come in, and with what.
    Govern,
}

/// The properties that a person may see.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Reach {
    /// All of them, also those to come, and what belongs to none.
    Everywhere,
    /// These only.
    Properties(BTreeSet<Id>),
}

/// What somebody is called, here and when signing in: 1 to 64 characters on one line.
///
/// Upper and lower case make no difference to who it is, so comparing is the ledger's business.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct PersonName(String);

/// A text that cannot be a person's name.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("a name has 1 to 64 characters on one line, and no `:`")]
pub struct NameFault;

impl PersonName {
    /// Checks `text` and keeps it without the blanks around it.
    ///
    /// # Errors
    /// It is empty, long, or has characters that a name has not.
    pub fn new(text: &str) -> Result<Self, NameFault> {
        let name = text.trim();
        let fits = (1..=64).contains(&name.chars().count());
        if !fits || name.contains(|c: char| c.is_control() || c == ':') {
            return Err(NameFault);
        }
        Ok(Self(name.to_owned()))
    }

    /// The text.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl fmt::Display for PersonName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl TryFrom<String> for PersonName {
    type Error = NameFault;
    fn try_from(text: String) -> Result<Self, NameFault> {
        Self::new(&text)
    }
}

impl From<PersonName> for String {
    fn from(name: PersonName) -> Self {
        name.0
    }
}

impl Action {
    /// Every action, from the one that most may.
    pub const ALL: [Self; 4] = [Self::See, Self::Attend, Self::Plan, Self::Govern];

    /// The word for it.
    pub const fn name(self) -> &'static str {
        match self {
            Self::See => "see",
            Self::Attend => "attend",
            Self::Plan => "plan",
            Self::Govern => "govern",
        }
    }

    /// The action called `name`.
    pub fn named(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|action| action.name() == name)
    }
}

impl Role {
    /// Every role, from the one that may do least.
    pub const ALL: [Self; 4] = [Self::Viewer, Self::Technician, Self::Manager, Self::Owner];

    /// The word for it.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Viewer => "viewer",
            Self::Technician => "technician",
            Self::Manager => "manager",
            Self::Owner => "owner",
        }
    }

    /// The role called `name`.
    pub fn named(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|role| role.name() == name)
    }

    /// Whether people of this role may do it.
    pub fn may(self, action: Action) -> bool {
        let least = match action {
            Action::See => Self::Viewer,
            Action::Attend => Self::Technician,
            Action::Plan => Self::Manager,
            Action::Govern => Self::Owner,
        };
        self >= least
    }
}

impl fmt::Display for Role {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

impl Reach {
    /// Whether `property` is within it.
    pub fn covers(&self, property: &Id) -> bool {
        match self {
            Self::Everywhere => true,
            Self::Properties(properties) => properties.contains(property),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_role_may_do_what_the_one_before_may() {
        for (count, role) in (1..).zip(Role::ALL) {
            assert_eq!(Action::ALL.iter().filter(|action| role.may(**action)).count(), count, "{role}");
            assert_eq!(Role::named(role.name()), Some(role));
        }
    }
}
