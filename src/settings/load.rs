//! Loading: the three layers put together, checked whole, and every fault told at once.

use std::collections::BTreeMap;
use std::fmt::Display;
use std::path::{Path, PathBuf};
use std::str::FromStr;

use config::{Config, ConfigError};
use serde::{Deserialize, Deserializer};

use super::conflict::Conflict;
use super::kind::{Kind, Raw};
use super::layer::Gathered;
use super::table::Holds;
use super::{
    Alerts, Desk, EmbeddedBroker, Folders, Influxdb, Ledger, Log, Mqtt, Notices, OldName, Origin, SECTIONS,
    Section, Setting, SettingFault, Upkeep, What, environment, file,
};

/// The daemon's settings.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Settings {
    /// Where things lie on disk.
    pub folders: Folders,
    /// The broker that the readings come from.
    pub mqtt: Mqtt,
    /// The broker inside the daemon.
    pub embedded_broker: EmbeddedBroker,
    /// The pages and the HTTP interface.
    pub desk: Desk,
    /// What is kept, and for how long.
    pub ledger: Ledger,
    /// What holds for all messages about alerts.
    pub alerts: Alerts,
    /// How often things are looked at, and when visits can be made.
    pub upkeep: Upkeep,
    /// The time-series server that everything is passed on to.
    pub influxdb: Influxdb,
    /// What the daemon writes about itself.
    pub log: Log,
    /// Who is told of what.
    #[serde(skip)]
    pub notices: Notices,
}

/// Settings, and where each came from.
#[derive(Debug)]
pub struct Loaded {
    /// The settings.
    pub settings: Settings,
    /// Every row of the setting table with its value, in the order of the table.
    pub entries: Vec<Entry>,
    /// Old names that were understood.
    pub old_names: Vec<OldName>,
}

/// One setting as loaded.
#[derive(Debug)]
pub struct Entry {
    /// Its section.
    pub section: &'static Section,
    /// Its row of the table.
    pub setting: &'static Setting,
    /// Its value for people; a secret is never shown.
    pub shown: String,
    /// Where the value came from.
    pub origin: Origin,
}

/// The settings file to use: the one named, else `./basinward.toml`, else `/etc/basinward/basinward.toml`, else
/// none. A file that is named is used even if it is missing, so that its absence is reported.
pub fn find_file(named: Option<&Path>) -> Option<PathBuf> {
    let usual = ["basinward.toml", "/etc/basinward/basinward.toml"];
    named.map(Path::to_owned).or_else(|| usual.iter().map(PathBuf::from).find(|path| path.exists()))
}

impl Settings {
    /// Puts together the defaults, `file` and the variables of `environment` that begin with `BASINWARD__`.
    ///
    /// # Errors
    /// Every fault found, in the order file, environment, conflicts between settings.
    pub fn load(
        file: Option<&Path>,
        environment: impl Iterator<Item = (String, String)>,
    ) -> Result<Loaded, Vec<SettingFault>> {
        let base = file.and_then(Path::parent).unwrap_or(Path::new(""));
        let defaults = defaults(base);
        let from_file = file.map(|path| file::gather(path, base)).unwrap_or_default();
        let from_environment = environment::gather(environment, base);

        let mut origins = BTreeMap::new();
        let mut builder = Config::builder();
        let mut faults = Vec::new();
        let (mut refused, mut old_names) = (Vec::new(), Vec::new());
        let mut notices = Notices::default();
        for gathered in [defaults, from_file, from_environment] {
            origins.extend(gathered.layer.origins().map(|(key, origin)| (key.to_owned(), origin.clone())));
            faults.extend(gathered.faults);
            refused.extend(gathered.refused);
            old_names.extend(gathered.old_names);
            builder = builder.add_source(gathered.layer);
            if !gathered.notices.is_empty() {
                faults.extend(gathered.notices.conflicts());
                notices = gathered.notices.settled();
            }
        }
        let merged = builder.build().map_err(|e| vec![unforeseen(&e)])?;
        let mut settings: Settings = merged.clone().try_deserialize().map_err(|e| vec![unforeseen(&e)])?;

        settings.notices = notices;
        let conflicts = settings.conflicts().into_iter();
        let sound = conflicts.filter(|conflict| !refused.iter().any(|key| conflict.involves(key)));
        faults.extend(sound.map(|conflict| conflict.placed(&origins)));
        if !faults.is_empty() {
            return Err(faults);
        }
        let entries = entries(&merged, &mut origins);
        Ok(Loaded { settings, entries, old_names })
    }

    fn conflicts(&self) -> Vec<Conflict> {
        let mut found = self.mqtt.conflicts();
        if self.mqtt.broker.is_none() {
            found.extend(self.embedded_broker.conflicts());
        }
        found.extend(self.desk.conflicts());
        found.extend(self.ledger.conflicts());
        found.extend(self.influxdb.conflicts());
        found
    }
}

impl Default for Settings {
    fn default() -> Self {
        Self::load(None, std::iter::empty()).expect("the defaults are valid: a test loads them").settings
    }
}

fn defaults(base: &Path) -> Gathered {
    let mut gathered = Gathered::default();
    for section in SECTIONS {
        for setting in section.settings {
            let found = (setting, Holds::Value);
            gathered.take(section, found, Raw::Bare(setting.default), Origin::Default, base);
        }
    }
    gathered
}

fn entries(merged: &Config, origins: &mut BTreeMap<String, Origin>) -> Vec<Entry> {
    let rows =
        SECTIONS.iter().flat_map(|section| section.settings.iter().map(move |setting| (section, setting)));
    rows.map(|(section, setting)| {
        let full_key = format!("{}.{}", section.name, setting.key);
        let value = merged.get_string(&full_key).unwrap_or_default();
        let shown = if value.is_empty() {
            "not set".to_owned()
        } else if matches!(setting.kind, Kind::Secret) {
            "set, hidden".to_owned()
        } else {
            value
        };
        Entry { section, setting, shown, origin: origins.remove(&full_key).unwrap_or(Origin::Default) }
    })
    .collect()
}

/// Every value was checked before it came here, so this is a slip between a section's table and its struct.
fn unforeseen(error: &ConfigError) -> SettingFault {
    SettingFault {
        origin: Origin::Default,
        what: What::Conflict {
            what: format!("the settings cannot be put together ({error})"),
            how: "this is a mistake in the program, not in your settings; please report it".to_owned(),
        },
    }
}

/// Reads a setting that means something as text.
pub(super) fn parsed<'de, D, T>(deserializer: D) -> Result<T, D::Error>
where
    D: Deserializer<'de>,
    T: FromStr<Err: Display>,
{
    String::deserialize(deserializer)?.parse().map_err(serde::de::Error::custom)
}

/// Reads an optional setting: empty text means that it is not set.
pub(super) fn none_if_empty<'de, D, T>(deserializer: D) -> Result<Option<T>, D::Error>
where
    D: Deserializer<'de>,
    T: FromStr<Err: Display>,
{
    let text = String::deserialize(deserializer)?;
    if text.is_empty() {
        return Ok(None);
    }
    text.parse().map(Some).map_err(serde::de::Error::custom)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn load(environment: &[(&str, &str)]) -> Result<Loaded, Vec<SettingFault>> {
        let owned = environment.iter().map(|(name, value)| ((*name).to_owned(), (*value).to_owned()));
        Settings::load(None, owned)
    }

    #[test]
    fn the_defaults_are_valid_and_say_so() {
        let loaded = load(&[]).expect("defaults load");
        assert!(loaded.entries.iter().all(|entry| entry.origin == Origin::Default));
        assert_eq!(loaded.settings.mqtt.broker, None);
        assert_eq!(loaded.settings.mqtt.batch, 1000);
    }

    #[test]
    fn the_environment_wins_and_is_named_as_origin() {
        let name = "BASINWARD__MQTT__BROKER";
        let loaded = load(&[(name, "mqtts://yard.example")]).expect("loads");
        let broker = loaded.settings.mqtt.broker.expect("set");
        assert_eq!((broker.host.as_str(), broker.port, broker.tls), ("yard.example", 8883, true));
        let entry = loaded.entries.iter().find(|entry| entry.setting.key == "broker").expect("listed");
        assert_eq!(entry.origin, Origin::Environment(name.to_owned()));
    }

    #[test]
    fn an_old_name_is_understood_and_noted_and_the_later_layer_wins_under_either() {
        let folder = tempfile::tempdir().expect("a folder");
        let file = folder.path().join("basinward.toml");
        std::fs::write(&file, "[ledger]\nraw_days = 40\n").expect("writes");
        let load = |environment: &[(&str, &str)]| {
            let owned = environment.iter().map(|(name, value)| ((*name).to_owned(), (*value).to_owned()));
            Settings::load(Some(&file), owned).expect("loads")
        };
        let loaded = load(&[]);
        assert_eq!(loaded.settings.ledger.readings_days, 40);
        assert_eq!(
            loaded.old_names.iter().map(ToString::to_string).collect::<Vec<_>>(),
            [format!(
                "{}:2:1: `raw_days` is called `readings_days` now; it was understood, but write `readings_days`",
                file.display()
            )]
        );
        let loaded = load(&[("BASINWARD__LEDGER__READINGS_DAYS", "50")]);
        assert_eq!(loaded.settings.ledger.readings_days, 50);
        let loaded = load(&[("BASINWARD__LEDGER__RAW_DAYS", "60")]);
        assert_eq!((loaded.settings.ledger.readings_days, loaded.old_names.len()), (60, 2));
    }

    #[test]
    fn a_conflict_with_a_refused_value_is_not_told_twice() {
        let faults = load(&[
            ("BASINWARD__MQTT__USER", "me"),
            ("BASINWARD__MQTT__BATCH", "5000"),
            ("BASINWARD__MQTT__INFLIGHT", "many"),
        ])
        .expect_err("refused");
        assert_eq!(faults.len(), 1, "{faults:?}");
    }
}
