//! The layer of the settings file, read with the place of every key.

use std::path::{Path, PathBuf};

use toml_edit::{Document, Item, TableLike, Value};

use super::kind::Raw;
use super::layer::Gathered;
use super::nearest::nearest;
use super::{Origin, SECTIONS, Section, What, channels, contacts, routes};

/// Reads the settings file at `path`; relative paths in it start at `base`.
pub(super) fn gather(path: &Path, base: &Path) -> Gathered {
    let mut gathered = Gathered::default();
    let text = match std::fs::read_to_string(path) {
        Ok(text) => text,
        Err(e) => {
            gathered.fault(Origin::File { path: path.to_owned(), line: 1, column: 1 }, What::Unreadable(e));
            return gathered;
        }
    };
    let places = Places { path: path.to_owned(), text: &text };
    match Document::parse(text.as_str()) {
        Ok(document) => gather_sections(document.as_table(), &places, base, &mut gathered),
        Err(e) => {
            let origin = places.at(e.span().map_or(0, |span| span.start));
            gathered.fault(origin, What::NotToml(e.message().trim().to_owned()));
        }
    }
    gathered
}

fn gather_sections(root: &dyn TableLike, places: &Places<'_>, base: &Path, gathered: &mut Gathered) {
    for (name, item) in root.iter() {
        match (name, item.as_table_like()) {
            ("contacts", Some(_)) => contacts::gather(item, (places, base), gathered),
            ("channels", Some(_)) => channels::gather(item, (places, base), gathered),
            ("routes", Some(_)) => routes::gather(item, (places, base), gathered),
            _ => gather_section(root, (name, item), places, base, gathered),
        }
    }
}

fn gather_section(
    root: &dyn TableLike,
    (name, item): (&str, &Item),
    places: &Places<'_>,
    base: &Path,
    gathered: &mut Gathered,
) {
    let origin = places.of_key(root, name);
    match (Section::named(name), item.as_table_like()) {
        (Some(section), Some(table)) => gather_keys(section, table, places, base, gathered),
        (Some(_), None) => {
            let what = What::WrongType {
                key: name.to_owned(),
                found: in_words(item),
                expected: format!("[{name}] on a line of its own, and its keys below"),
            };
            gathered.fault(origin, what);
        }
        (None, Some(_)) => {
            gathered
                .fault(origin, What::UnknownSection { name: name.to_owned(), advice: section_advice(name) });
        }
        (None, None) => {
            gathered.fault(origin, What::UnknownKey { key: name.to_owned(), advice: stray_advice(name) });
        }
    }
}

fn gather_keys(
    section: &Section,
    table: &dyn TableLike,
    places: &Places<'_>,
    base: &Path,
    gathered: &mut Gathered,
) {
    for (key, item) in table.iter() {
        let origin = places.of_key(table, key);
        match gathered.find(section, key, &origin) {
            Some(found) => gathered.take(section, found, raw(item), origin, base),
            None => {
                gathered.fault(
                    origin,
                    What::UnknownKey { key: key.to_owned(), advice: key_advice(section, key) },
                );
            }
        }
    }
}

fn raw(item: &Item) -> Raw<'_> {
    if let Some(text) = item.as_str() {
        Raw::Text(text)
    } else if let Some(number) = item.as_integer() {
        Raw::Whole(number)
    } else {
        Raw::Other(in_words(item))
    }
}

pub(super) fn in_words(item: &Item) -> &'static str {
    match item {
        Item::None => "missing",
        Item::Table(_) | Item::Value(Value::InlineTable(_)) => "a table",
        Item::ArrayOfTables(_) | Item::Value(Value::Array(_)) => "a list",
        Item::Value(Value::String(_)) => "text",
        Item::Value(Value::Integer(_)) => "a number",
        Item::Value(Value::Float(_)) => "a number with a fraction",
        Item::Value(Value::Boolean(_)) => "true or false",
        Item::Value(Value::Datetime(_)) => "a date",
    }
}

fn section_advice(name: &str) -> String {
    let names = SECTIONS.iter().map(|section| section.name).chain(["contacts", "channels", "routes"]);
    match nearest(name, names.clone()) {
        Some(meant) => format!("did you mean [{meant}]?"),
        None => format!("the sections are {}", names.collect::<Vec<_>>().join(", ")),
    }
}

fn key_advice(section: &Section, key: &str) -> String {
    let known: Vec<String> = section.keys().collect();
    if let Some(meant) = nearest(key, known.iter().map(String::as_str)) {
        return format!("did you mean `{meant}`?");
    }
    let elsewhere: Vec<String> = SECTIONS
        .iter()
        .filter(|other| other.find(key).is_some())
        .map(|other| format!("[{}]", other.name))
        .collect();
    if elsewhere.is_empty() {
        return format!("the keys of [{}] are {}", section.name, known.join(", "));
    }
    format!("`{key}` belongs under {}", elsewhere.join(" or "))
}

/// Advice for a key that stands before the first section.
fn stray_advice(key: &str) -> String {
    let known: Vec<(String, &str)> =
        SECTIONS.iter().flat_map(|section| section.keys().map(move |known| (known, section.name))).collect();
    let meant = nearest(key, known.iter().map(|(known, _)| known.as_str()));
    match known.iter().find(|(known, _)| Some(known.as_str()) == meant) {
        Some((known, section)) => format!("did you mean `{known}` under [{section}]?"),
        None => "every key stands under a [section]; `check --explain` lists them".to_owned(),
    }
}

/// Turns byte offsets into lines and columns.
pub(super) struct Places<'a> {
    path: PathBuf,
    text: &'a str,
}

impl Places<'_> {
    pub(super) fn of_key(&self, table: &dyn TableLike, key: &str) -> Origin {
        let span = table.key(key).and_then(toml_edit::Key::span);
        self.at(span.map_or(0, |span| span.start))
    }

    fn at(&self, offset: usize) -> Origin {
        let before = self.text.get(..offset).unwrap_or(self.text);
        let line_start = before.rfind('\n').map_or(0, |newline| newline + 1);
        Origin::File {
            path: self.path.clone(),
            line: before.matches('\n').count() + 1,
            column: before[line_start..].chars().count() + 1,
        }
    }
}
