//! Settings that are each right but do not go together.

use std::collections::BTreeMap;

use super::{Origin, SettingFault, What};

/// Two or more settings that do not go together.
#[derive(Debug)]
pub(super) struct Conflict {
    /// Full keys that it rests on, the one to mend first. If one of them was refused, the conflict is not
    /// told, since the value compared would be the default and not what the person wrote.
    pub(super) between: &'static [&'static str],
    /// What is wrong.
    pub(super) what: String,
    /// How to mend it.
    pub(super) how: String,
}

impl Conflict {
    /// Whether it rests on the setting with this full key.
    pub(super) fn involves(&self, full_key: &str) -> bool {
        self.between.contains(&full_key)
    }

    /// The fault, at the first of its settings that a person wrote.
    pub(super) fn placed(self, origins: &BTreeMap<String, Origin>) -> SettingFault {
        let mut written = self.between.iter().filter_map(|key| origins.get(*key));
        let origin = written.find(|origin| **origin != Origin::Default).cloned();
        SettingFault {
            origin: origin.unwrap_or(Origin::Default),
            what: What::Conflict { what: self.what, how: self.how },
        }
    }
}
