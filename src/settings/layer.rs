//! One layer of settings: the values that one source gives, each with its place.

use std::collections::BTreeMap;
use std::path::Path;

use config::{ConfigError, Map, Source, Value, ValueKind};

use super::kind::{Raw, Reader};
use super::notices::NoticesRead;
use super::table::{Holds, RENAMED};
use super::{Kind, OldName, Origin, Section, Setting, SettingFault, What};

/// The values of one source, by full key (`mqtt.broker`), and what was wrong with the others.
#[derive(Debug, Clone, Default)]
pub(super) struct Layer {
    values: BTreeMap<String, (Origin, ValueKind)>,
}

/// What reading one source gave.
#[derive(Debug, Default)]
pub(super) struct Gathered {
    /// The values that were right.
    pub(super) layer: Layer,
    /// The values that were not.
    pub(super) faults: Vec<SettingFault>,
    /// Full keys of settings whose value was refused.
    pub(super) refused: Vec<String>,
    /// Names that were understood although they are not used any more.
    pub(super) old_names: Vec<OldName>,
    /// Contacts, channels and routes.
    pub(super) notices: NoticesRead,
}

impl Layer {
    /// Where each value stands, by full key.
    pub(super) fn origins(&self) -> impl Iterator<Item = (&str, &Origin)> {
        self.values.iter().map(|(key, (origin, _))| (key.as_str(), origin))
    }
}

impl Gathered {
    /// Notes a fault that belongs to no known setting.
    pub(super) fn fault(&mut self, origin: Origin, what: What) {
        self.faults.push(SettingFault { origin, what });
    }

    /// What `key` stands for in `section`, by its present name or an old one, which is noted.
    pub(super) fn find(
        &mut self,
        section: &Section,
        key: &str,
        origin: &Origin,
    ) -> Option<(&'static Setting, Holds)> {
        let Some(renamed) = section.renamed(key) else { return section.find(key) };
        self.old_names.push(OldName { origin: origin.clone(), renamed: *renamed });
        section.find(renamed.now)
    }

    /// Takes in the value that stands beside the key of `setting`.
    pub(super) fn take(
        &mut self,
        section: &Section,
        (setting, holds): (&'static Setting, Holds),
        raw: Raw<'_>,
        origin: Origin,
        base: &Path,
    ) {
        let full_key = format!("{}.{}", section.name, setting.key);
        let earlier = self.layer.values.get(&full_key);
        if matches!(setting.kind, Kind::Secret)
            && is_empty(raw)
            && (earlier.is_some() || holds != Holds::Value)
        {
            return; // of `password` and `password_file`, the one left empty says nothing
        }
        if earlier.is_some_and(|(_, value)| *value != ValueKind::from("")) {
            let renamed = RENAMED.iter().find(|it| it.section == section.name && it.now == setting.key);
            let what = match renamed {
                Some(renamed) => What::NamedTwice { renamed: *renamed },
                None => What::SecretTwice { key: setting.key.to_owned() },
            };
            self.refuse(full_key, origin, what);
            return;
        }
        let read = match holds {
            Holds::Value => setting.reader(base).read(raw).map(|value| (origin.clone(), value)),
            Holds::PathOfValue => read_secret(setting.key, raw, base),
        };
        match read {
            Ok(placed) => {
                self.layer.values.insert(full_key, placed);
            }
            Err(what) => self.refuse(full_key, origin, what),
        }
    }

    fn refuse(&mut self, full_key: String, origin: Origin, what: What) {
        self.refused.push(full_key);
        self.fault(origin, what);
    }
}

fn is_empty(raw: Raw<'_>) -> bool {
    matches!(raw, Raw::Bare("") | Raw::Text(""))
}

/// Reads a secret from the file that `raw` names; one line end after it does not count.
pub(super) fn read_secret(secret_key: &str, raw: Raw<'_>, base: &Path) -> Result<(Origin, ValueKind), What> {
    let key = format!("{secret_key}_file");
    let path = Reader { key: &key, kind: Kind::File, may_be_empty: false, base }.read(raw)?.to_string();
    let unreadable = |why: String| What::FileUnreadable { key: key.clone(), path: path.clone(), why };
    let bytes = std::fs::read(&path).map_err(|e| unreadable(e.to_string()))?;
    let text = String::from_utf8(bytes).map_err(|_| unreadable("it is not UTF-8 text".to_owned()))?;
    let secret =
        text.strip_suffix('\n').map_or(text.as_str(), |line| line.strip_suffix('\r').unwrap_or(line));
    if secret.is_empty() {
        return Err(unreadable("it is empty".to_owned()));
    }
    let value = ValueKind::from(secret);
    Ok((Origin::SecretFile(path.into()), value))
}

impl Source for Layer {
    fn clone_into_box(&self) -> Box<dyn Source + Send + Sync> {
        Box::new(self.clone())
    }

    fn collect(&self) -> Result<Map<String, Value>, ConfigError> {
        let values = self.values.iter();
        Ok(values
            .map(|(key, (origin, kind))| (key.clone(), Value::new(Some(&origin.to_string()), kind.clone())))
            .collect())
    }
}
