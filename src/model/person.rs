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
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
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
        let actions = [Action::See, Action::Attend, Action::Plan, Action::Govern];
        for (count, role) in (1..).zip(Role::ALL) {
            assert_eq!(actions.iter().filter(|action| role.may(**action)).count(), count, "{role}");
            assert_eq!(Role::named(role.name()), Some(role));
        }
    }
}
