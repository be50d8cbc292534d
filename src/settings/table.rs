//! The setting table: every setting once, with its default and its meaning.

use std::path::Path;

use super::kind::Reader;
use super::{Kind, alerts, desk, embedded_broker, folders, influxdb, ledger, log, mqtt, upkeep};

/// One setting: a row of the table.
#[derive(Debug, Clone, Copy)]
pub struct Setting {
    /// Name within its section, as written in the file.
    pub key: &'static str,
    /// What the value may be.
    pub kind: Kind,
    /// The default, written as in the environment. Where it is empty, the value may be left empty.
    pub default: &'static str,
    /// One line of meaning.
    pub meaning: &'static str,
}

/// One `[section]` of the settings file.
#[derive(Debug, Clone, Copy)]
pub struct Section {
    /// Name as written between brackets in the file.
    pub name: &'static str,
    /// One line of meaning.
    pub meaning: &'static str,
    /// Its settings, in the order in which people read them.
    pub settings: &'static [Setting],
}

/// A setting that had another name. Its row stays, so that no upgrade needs a changed file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Renamed {
    /// Its section.
    pub section: &'static str,
    /// The old name.
    pub once: &'static str,
    /// The name that it has.
    pub now: &'static str,
}

/// Every setting that had another name.
pub const RENAMED: &[Renamed] = &[
    Renamed { section: "ledger", once: "raw_days", now: "readings_days" }, // as hourly_days, messages_days: what is kept
];

/// All sections, in the order of the settings file.
pub const SECTIONS: &[Section] = &[
    folders::SECTION,
    mqtt::SECTION,
    embedded_broker::SECTION,
    desk::SECTION,
    ledger::SECTION,
    alerts::SECTION,
    upkeep::SECTION,
    influxdb::SECTION,
    log::SECTION,
];

impl Setting {
    /// A reader of this setting's values; relative paths start at `base`.
    pub(super) fn reader<'a>(&self, base: &'a Path) -> Reader<'a> {
        Reader { key: self.key, kind: self.kind, may_be_empty: self.default.is_empty(), base }
    }
}

impl Section {
    /// The section of that name.
    pub fn named(name: &str) -> Option<&'static Section> {
        SECTIONS.iter().find(|section| section.name == name)
    }

    /// What `key` stands for here: a setting itself, or the file that holds a secret one.
    pub(super) fn find(&self, key: &str) -> Option<(&'static Setting, Holds)> {
        let named = |name: &str| self.settings.iter().find(|setting| setting.key == name);
        if let Some(setting) = named(key) {
            return Some((setting, Holds::Value));
        }
        let setting = named(key.strip_suffix("_file")?)?;
        matches!(setting.kind, Kind::Secret).then_some((setting, Holds::PathOfValue))
    }

    /// The setting that was once called `key` here.
    pub(super) fn renamed(&self, key: &str) -> Option<&'static Renamed> {
        RENAMED.iter().find(|renamed| renamed.section == self.name && renamed.once == key)
    }

    /// Every key that may be written here.
    pub(super) fn keys(&self) -> impl Iterator<Item = String> {
        self.settings.iter().flat_map(|setting| {
            let file = matches!(setting.kind, Kind::Secret).then(|| format!("{}_file", setting.key));
            std::iter::once(setting.key.to_owned()).chain(file)
        })
    }
}

/// What the value beside a key is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Holds {
    /// The setting's value.
    Value,
    /// The path of a file that holds the setting's value.
    PathOfValue,
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    #[test]
    fn every_key_stands_once_in_its_section() {
        for section in SECTIONS {
            let keys: Vec<String> = section.keys().collect();
            let distinct: BTreeSet<&String> = keys.iter().collect();
            assert_eq!(distinct.len(), keys.len(), "[{}]", section.name);
        }
    }

    #[test]
    fn an_old_name_leads_to_a_setting_and_is_none_itself() {
        for renamed in RENAMED {
            let section = Section::named(renamed.section).expect("a section");
            assert!(section.find(renamed.now).is_some(), "{renamed:?}");
            assert!(section.find(renamed.once).is_none(), "{renamed:?}");
        }
    }

    #[test]
    fn every_meaning_is_one_line_without_a_full_stop() {
        for setting in SECTIONS.iter().flat_map(|section| section.settings) {
            assert!(!setting.meaning.contains('\n'), "{}", setting.key);
            assert!(!setting.meaning.ends_with('.'), "{}", setting.key);
        }
    }
}
