//! Changing a system file as a person would: what is not touched stays as it was, with its comments.
//!
//! A change is a JSON object with the file's own keys. A key that it does not name stays, `null` removes
//! one, and the lists `splitter` and `basin` are taken whole: each entry is found by its `id`.

use serde_json::{Map, Value as Json};
use toml_edit::{Array, ArrayOfTables, Document, DocumentMut, InlineTable, Item, Table, TableLike, Value};

use super::Fault;

/// The text of a system file after `change`; an empty `text` makes a new one.
///
/// # Errors
/// The text is no TOML.
pub fn edit(text: &str, change: &Map<String, Json>) -> Result<String, String> {
    let mut document: DocumentMut = text.parse().map_err(|error: toml_edit::TomlError| error.to_string())?;
    for (key, wanted) in change {
        match (key.as_str(), wanted.as_array(), wanted.as_object()) {
            ("splitter" | "basin", Some(list), _) => parts(document.as_table_mut(), key, list),
            // Whole sections read best under a header of their own.
            ("source" | "diverter" | "rain", _, Some(fields)) => {
                if !document.contains_key(key) {
                    document.insert(key, Item::Table(Table::new()));
                }
                if let Some(table) = document.get_mut(key).and_then(Item::as_table_like_mut) {
                    merge(table, fields);
                }
            }
            _ => put(document.as_table_mut(), key, wanted),
        }
    }
    Ok(document.to_string())
}

fn merge(table: &mut dyn TableLike, change: &Map<String, Json>) {
    change.iter().for_each(|(key, wanted)| put(table, key, wanted));
}

/// Gives `key` the value `wanted`, keeping the spelling of a value that is the same already.
fn put(table: &mut dyn TableLike, key: &str, wanted: &Json) {
    if wanted.is_null() {
        table.remove(key);
        return;
    }
    if let (Json::Object(fields), Some(inner)) =
        (wanted, table.get_mut(key).and_then(Item::as_table_like_mut))
    {
        merge(inner, fields);
        return;
    }
    if table.get(key).is_some_and(|present| same(&item_json(present), wanted)) {
        return;
    }
    let Some(mut value) = value_of(key, wanted) else { return };
    if let Some(present) = table.get(key).and_then(Item::as_value) {
        *value.decor_mut() = present.decor().clone();
    }
    table.insert(key, Item::Value(value));
}

/// Whether two values say the same: 1 and 1.0 do.
fn same(one: &Json, other: &Json) -> bool {
    match (one, other) {
        (Json::Number(a), Json::Number(b)) => a.as_f64() == b.as_f64(),
        (Json::Array(a), Json::Array(b)) => a.len() == b.len() && a.iter().zip(b).all(|(a, b)| same(a, b)),
        _ => one == other,
    }
}

fn value_of(key: &str, wanted: &Json) -> Option<Value> {
    Some(match wanted {
        Json::Null => return None,
        Json::Bool(flag) => Value::from(*flag),
        Json::Number(number) => match number.as_i64() {
            Some(whole) => Value::from(whole),
            None => Value::from(number.as_f64()?),
        },
        Json::String(text) if matches!(key, "commissioned" | "placed") => match text.parse() {
            Ok(day) => Value::Datetime(toml_edit::Formatted::new(day)),
            Err(_) => Value::from(text.as_str()),
        },
        Json::String(text) => Value::from(text.as_str()),
        Json::Array(list) => {
            Value::Array(list.iter().filter_map(|item| value_of("", item)).collect::<Array>())
        }
        Json::Object(fields) => {
            let mut table = InlineTable::new();
            for (key, field) in fields {
                if let Some(value) = value_of(key, field) {
                    table.insert(key, value);
                }
            }
            Value::InlineTable(table)
        }
    })
}

/// Makes the list `key` hold what `wanted` holds, in its order; entries keep what the change does not name.
fn parts(document: &mut Table, key: &str, wanted: &[Json]) {
    let mut present: Vec<Table> = match document.remove(key) {
        Some(Item::ArrayOfTables(tables)) => tables.into_iter().collect(),
        Some(Item::Value(Value::Array(tables))) => tables
            .into_iter()
            .filter_map(|value| Some(value.as_inline_table()?.clone().into_table()))
            .collect(),
        _ => Vec::new(),
    };
    // Entries that stay take the places of old ones in the list's order, so that each section stays together.
    let mut positions: Vec<_> = present.iter().filter_map(Table::position).collect();
    positions.sort_unstable();
    let mut positions = positions.into_iter();
    let mut tables = ArrayOfTables::new();
    for fields in wanted.iter().filter_map(Json::as_object) {
        let id = fields.get("id").and_then(Json::as_str).unwrap_or_default();
        let known = present.iter().position(|table| table.get("id").and_then(Item::as_str) == Some(id));
        let mut table = known.map_or_else(Table::new, |at| present.remove(at));
        merge(&mut table, fields);
        table.set_position(if known.is_some() { positions.next() } else { None });
        if known.is_none() {
            table.decor_mut().set_prefix("\n");
        }
        tables.push(table);
    }
    if !tables.is_empty() {
        document.insert(key, Item::ArrayOfTables(tables));
    }
}

/// The content of a system file as a JSON object with the file's own keys.
///
/// # Errors
/// The text is no TOML.
pub fn content(text: &str) -> Result<Map<String, Json>, String> {
    let document: DocumentMut = text.parse().map_err(|error: toml_edit::TomlError| error.to_string())?;
    Ok(document.iter().map(|(key, item)| (key.to_owned(), item_json(item))).collect())
}

fn item_json(item: &Item) -> Json {
    match item {
        Item::None => Json::Null,
        Item::Value(value) => value_json(value),
        Item::Table(table) => table.iter().map(|(key, item)| (key.to_owned(), item_json(item))).collect(),
        Item::ArrayOfTables(tables) => {
            let one = |table: &Table| {
                table.iter().map(|(key, item)| (key.to_owned(), item_json(item))).collect::<Map<_, _>>()
            };
            tables.iter().map(|table| Json::Object(one(table))).collect()
        }
    }
}

fn value_json(value: &Value) -> Json {
    match value {
        Value::String(text) => Json::from(text.value().as_str()),
        Value::Integer(number) => Json::from(*number.value()),
        Value::Float(number) => Json::from(*number.value()),
        Value::Boolean(flag) => Json::from(*flag.value()),
        Value::Datetime(day) => Json::from(day.value().to_string()),
        Value::Array(list) => list.iter().map(value_json).collect(),
        Value::InlineTable(table) => {
            Json::Object(table.iter().map(|(key, value)| (key.to_owned(), value_json(value))).collect())
        }
    }
}

/// The part of `text` that `fault` is about, as a JSON pointer (RFC 6901) into its [`content`]; empty for the whole.
pub fn pointer_of(text: &str, fault: &Fault) -> String {
    let Ok(document) = Document::parse(text) else { return String::new() };
    let mut places = Vec::new();
    walk(document.as_table(), "", &mut places);
    places.sort_by_key(|(at, _)| *at);
    let Some(line) = fault.line.checked_sub(1) else { return String::new() };
    let begin: usize = text.split_inclusive('\n').take(line).map(str::len).sum();
    let before =
        text[begin..].chars().take(fault.column.saturating_sub(1)).map(char::len_utf8).sum::<usize>();
    let last = places.partition_point(|(at, _)| *at <= begin + before);
    last.checked_sub(1).map_or_else(String::new, |at| places[at].1.clone())
}

/// Where each key and each entry of a list begins.
fn walk(table: &dyn TableLike, pointer: &str, places: &mut Vec<(usize, String)>) {
    for (key, item) in table.iter() {
        let here = format!("{pointer}/{}", key.replace('~', "~0").replace('/', "~1"));
        if let Some(span) = table.key(key).and_then(toml_edit::Key::span) {
            places.push((span.start, here.clone()));
        }
        if let Some(tables) = item.as_array_of_tables() {
            for (at, table) in tables.iter().enumerate() {
                let entry = format!("{here}/{at}");
                places.extend(table.span().map(|span| (span.start, entry.clone())));
                walk(table, &entry, places);
            }
        } else if let Some(inner) = item.as_table_like() {
            walk(inner, &here, places);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    const FILE: &str = "# The east yard\nid = \"east\" # never changes\nname = \"East\"\ntimezone = \"UTC\"\nsoil = \"loam\"\n\n\
                        [source]\npeople = 2 # asked in May\n\n[[splitter]]\nid = \"s1\"\nfeeds = [\"fig\", \"plum\"]\n\n\
                        # by the wall\n[[basin]]\nid = \"fig\"\narea_m2 = 1.20\nmoisture = { topic = \"old/7\", unit = \"%\" }\n\n\
                        [[basin]]\nid = \"plum\"\narea_m2 = 1.2\n";

    fn change(value: &Json) -> Map<String, Json> {
        value.as_object().unwrap().clone()
    }

    #[test]
    fn what_is_not_changed_stays_to_the_letter() {
        let same = content(FILE).unwrap();
        assert_eq!(edit(FILE, &same).unwrap(), FILE);
    }

    #[test]
    fn comments_and_unnamed_keys_survive_a_change() {
        let wanted = json!({
            "name": "East yard", "source": { "people": 4 },
            "basin": [{ "id": "fig", "area_m2": 1.2, "depth_mm": 400 }, { "id": "pear", "area_m2": 2 }],
            "splitter": [{ "id": "s1", "feeds": ["fig", "pear"] }],
        });
        let text = edit(FILE, &change(&wanted)).unwrap();
        for kept in [
            "# The east yard",
            "# never changes",
            "people = 4 # asked in May",
            "# by the wall",
            "area_m2 = 1.20",
            "topic = \"old/7\"",
        ] {
            assert!(text.contains(kept), "{kept} is lost:\n{text}");
        }
        assert!(!text.contains("plum"), "{text}");
        let system = crate::systemfile::parse("east.toml", &text).unwrap();
        assert_eq!((system.name.as_str(), system.basins.len(), system.source.people), ("East yard", 2, 4));
    }

    #[test]
    fn what_is_filled_in_later_and_emptied_again_leaves_the_file_as_it_was() {
        let filled = json!({
            "commissioned": "2026-02-20", "location": { "latitude": 35.69, "longitude": -105.94 },
            "basin": [
                { "id": "fig", "air_gap_mm": 120, "flood_hold": "450m", "moisture": { "value": "/object/soil" },
                  "mulch": { "depth_mm": 180, "chip": "coarse", "placed": "2026-03-01" } },
                { "id": "plum" },
            ],
        });
        let text = edit(FILE, &change(&filled)).unwrap();
        let system = crate::systemfile::parse("east.toml", &text)
            .unwrap_or_else(|faults| panic!("{faults:?}\n{text}"));
        assert_eq!(system.basins[0].mulch.placed, Some(jiff::civil::date(2026, 3, 1)));
        assert!(system.location.is_some() && system.commissioned.is_some());
        let emptied = json!({
            "commissioned": null, "location": null,
            "basin": [
                { "id": "fig", "air_gap_mm": null, "flood_hold": null, "moisture": { "value": null }, "mulch": null },
                { "id": "plum", "mulch": null },
            ],
        });
        assert_eq!(edit(&text, &change(&emptied)).unwrap(), FILE);
    }

    #[test]
    fn a_new_file_is_made_from_nothing() {
        let wanted = json!({
            "id": "west", "name": "West", "timezone": "UTC", "soil": "clay", "commissioned": "2026-04-01",
            "basin": [{ "id": "fig", "area_m2": 1, "at": [1.5, 2], "float": {} }], "diverter": {},
        });
        let text = edit("", &change(&wanted)).unwrap();
        let system = crate::systemfile::parse("west.toml", &text)
            .unwrap_or_else(|faults| panic!("{faults:?}\n{text}"));
        assert!(system.diverter && system.commissioned.is_some());
    }

    #[test]
    fn a_fault_points_at_its_field() {
        let wanted = json!({ "soil": "lome", "basin": [{ "id": "fig", "area_m2": 1, "depth_mm": 5 }, { "id": "plum", "area_m2": 900 }] });
        let text = edit(FILE, &change(&wanted)).unwrap();
        let faults = crate::systemfile::parse("east.toml", &text).unwrap_err();
        let pointers: Vec<String> = faults.iter().map(|fault| pointer_of(&text, fault)).collect();
        assert_eq!(pointers, ["/soil", "/basin/0/depth_mm", "/basin/1/area_m2"]);
    }
}
