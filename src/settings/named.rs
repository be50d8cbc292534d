//! Sections with many entries, each a table under a name of the person's own: `[contacts.ana]`.

use std::fmt::Display;
use std::path::Path;
use std::str::FromStr;

use toml_edit::{Item, TableLike};

use super::file::{Places, in_words};
use super::kind::{Kind, Raw, Reader};
use super::layer::{Gathered, read_secret};
use super::nearest::nearest;
use super::{Origin, Secret, What};

/// One entry while it is read; what is wrong with it goes to `gathered`.
pub(super) struct Entry<'a> {
    table: &'a dyn TableLike,
    places: &'a Places<'a>,
    base: &'a Path,
    gathered: &'a mut Gathered,
    /// Where the entry begins.
    pub(super) origin: Origin,
}

/// Reads every entry of the section `root`, refusing keys that are not `known`.
pub(super) fn entries(
    (section, root): (&str, &Item),
    known: &[&str],
    (places, base): (&Places<'_>, &Path),
    gathered: &mut Gathered,
    mut read: impl FnMut(&str, &mut Entry<'_>),
) {
    let Some(names) = root.as_table_like() else { return };
    for (name, item) in names.iter() {
        let origin = places.of_key(names, name);
        let Some(table) = item.as_table_like() else {
            let what = What::WrongType {
                key: format!("{section}.{name}"),
                found: in_words(item),
                expected: format!("[{section}.{name}] on a line of its own, and its keys below"),
            };
            gathered.fault(origin, what);
            continue;
        };
        refuse_unknown(table, known, &format!("[{section}.{name}]"), places, gathered);
        read(name, &mut Entry { table, places, base, gathered, origin });
    }
}

/// Notes every key of a table that is none of those `known`.
fn refuse_unknown(
    table: &dyn TableLike,
    known: &[&str],
    whole: &str,
    places: &Places<'_>,
    gathered: &mut Gathered,
) {
    for (key, _) in table.iter().filter(|(key, _)| !known.contains(key)) {
        let advice = match nearest(key, known.iter().copied()) {
            Some(meant) => format!("did you mean `{meant}`?"),
            None => format!("the keys of {whole} are {}", known.join(", ")),
        };
        gathered.fault(places.of_key(table, key), What::UnknownKey { key: key.to_owned(), advice });
    }
}

impl Entry<'_> {
    fn place(&self, key: &str) -> Origin {
        if self.table.contains_key(key) { self.places.of_key(self.table, key) } else { self.origin.clone() }
    }

    fn fault(&mut self, key: &str, what: What) {
        let origin = self.place(key);
        self.gathered.fault(origin, what);
    }

    /// Whether `key` is written.
    pub(super) fn has(&self, key: &str) -> bool {
        self.table.contains_key(key)
    }

    /// Text that must be there; empty if it is not, which is a fault.
    pub(super) fn required(&mut self, key: &str, expected: &str) -> String {
        let text = self.text(key, expected).unwrap_or_default();
        if text.is_empty() && !self.has(key) {
            let what =
                What::Conflict { what: format!("`{key}` is missing"), how: format!("write {expected}") };
            self.fault(key, what);
        }
        text
    }

    /// Text, if it is there.
    pub(super) fn text(&mut self, key: &str, expected: &str) -> Option<String> {
        let item = self.table.get(key)?;
        let (text, found) = (item.as_str().map(str::to_owned), in_words(item));
        let (key_owned, expected) = (key.to_owned(), expected.to_owned());
        match text {
            Some(text) if !text.trim().is_empty() => Some(text),
            Some(_) => {
                self.fault(key, What::Empty { key: key_owned, expected });
                None
            }
            None => {
                self.fault(key, What::WrongType { key: key_owned, found, expected });
                None
            }
        }
    }

    /// Text that means something, if it is there.
    pub(super) fn parsed<T: FromStr<Err: Display>>(&mut self, key: &str, expected: &str) -> Option<T> {
        let text = self.text(key, expected)?;
        self.understand(key, expected, &text, text.parse().map_err(|e: T::Err| e.to_string()))
    }

    /// The value made out of `text`, or a fault that says why there is none.
    pub(super) fn understand<T>(
        &mut self,
        key: &str,
        expected: &str,
        text: &str,
        understood: Result<T, String>,
    ) -> Option<T> {
        understood
            .map_err(|why| {
                let (key_owned, found) = (key.to_owned(), text.to_owned());
                self.fault(
                    key,
                    What::Malformed { key: key_owned, found, why, expected: expected.to_owned() },
                );
            })
            .ok()
    }

    /// A whole number within a range.
    pub(super) fn whole(
        &mut self,
        key: &'static str,
        (min, max): (i64, i64),
        unit: &'static str,
        default: i64,
    ) -> i64 {
        let Some(item) = self.table.get(key) else { return default };
        let raw = item.as_integer().map_or(Raw::Other(in_words(item)), Raw::Whole);
        let reader =
            Reader { key, kind: Kind::Whole { min, max, unit }, may_be_empty: false, base: self.base };
        match reader.read(raw) {
            Ok(value) => value.to_string().parse().unwrap_or(default),
            Err(what) => {
                self.fault(key, what);
                default
            }
        }
    }

    /// A list of texts; one text counts as a list of one.
    pub(super) fn words(&mut self, key: &str, expected: &str) -> Vec<String> {
        let Some(item) = self.table.get(key) else { return Vec::new() };
        let words = match (item.as_str(), item.as_array()) {
            (Some(word), _) => Some(vec![word.to_owned()]),
            (None, Some(list)) => list.iter().map(|value| value.as_str().map(str::to_owned)).collect(),
            (None, None) => None,
        };
        words.unwrap_or_else(|| {
            let found = in_words(item);
            self.fault(key, What::WrongType { key: key.to_owned(), found, expected: expected.to_owned() });
            Vec::new()
        })
    }

    /// The tables of a list, each as an entry of its own.
    pub(super) fn tables(&mut self, key: &str, known: &[&str], mut read: impl FnMut(&mut Entry<'_>)) {
        let Some(item) = self.table.get(key) else { return };
        let origin = self.place(key);
        let inline = item.as_array().into_iter().flat_map(|list| list.iter());
        let inline =
            inline.filter_map(toml_edit::Value::as_inline_table).map(|table| table as &dyn TableLike);
        let whole = item.as_array_of_tables().into_iter().flat_map(|list| list.iter());
        for table in inline.chain(whole.map(|table| table as &dyn TableLike)) {
            let (places, base) = (self.places, self.base);
            refuse_unknown(table, known, &format!("`{key}`"), places, self.gathered);
            read(&mut Entry { table, places, base, gathered: self.gathered, origin: origin.clone() });
        }
    }

    /// A word out of a few.
    pub(super) fn choice(&mut self, key: &'static str, choices: &'static [&'static str]) -> Option<String> {
        let text = self.text(key, &Kind::OneOf(choices).expected())?;
        let reader = Reader { key, kind: Kind::OneOf(choices), may_be_empty: false, base: self.base };
        match reader.read(Raw::Text(&text)) {
            Ok(_) => Some(text),
            Err(what) => {
                self.fault(key, what);
                None
            }
        }
    }

    /// A file that must be there, its path starting at the settings file.
    pub(super) fn file(&mut self, key: &'static str) -> Option<std::path::PathBuf> {
        let text = self.text(key, &Kind::File.expected())?;
        match (Reader { key, kind: Kind::File, may_be_empty: false, base: self.base }).read(Raw::Text(&text))
        {
            Ok(path) => Some(path.to_string().into()),
            Err(what) => {
                self.fault(key, what);
                None
            }
        }
    }

    /// A secret, written here or in the file that `<key>_file` names.
    pub(super) fn secret(&mut self, key: &str) -> Option<Secret> {
        let file = format!("{key}_file");
        if self.has(key) && self.has(&file) {
            self.fault(&file, What::SecretTwice { key: key.to_owned() });
            return None;
        }
        let secret = if self.has(&file) {
            let path = self.text(&file, &Kind::File.expected())?;
            match read_secret(key, Raw::Text(&path), self.base) {
                Ok((_, value)) => value.to_string(),
                Err(what) => {
                    self.fault(&file, what);
                    return None;
                }
            }
        } else {
            self.text(key, "text in quotes")?
        };
        let Ok(secret) = secret.parse();
        Some(secret)
    }

    /// Notes that things do not go together.
    pub(super) fn conflict(&mut self, key: &str, what: String, how: String) {
        self.fault(key, What::Conflict { what, how });
    }
}
