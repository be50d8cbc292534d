//! `[routes.NAME]`: which alerts go to whom.

use std::path::Path;

use toml_edit::Item;

use super::file::Places;
use super::layer::Gathered;
use super::named::{Entry, entries};
use crate::alerts::{Pace, Route, Rung};
use crate::model::{FindingKind, Id, Severity};

const KEYS: &[&str] = &["tell", "properties", "findings", "severity", "hours", "send", "repeat", "escalate"];
const NAMES: &str = "names of [contacts] in a list, such as [\"ana\"]";

pub(super) fn gather(root: &Item, place: (&Places<'_>, &Path), gathered: &mut Gathered) {
    let mut found = Vec::new();
    entries(("routes", root), KEYS, place, gathered, |name, entry| {
        found.push((route(name, entry), entry.origin.clone()));
    });
    gathered.notices.routes = found;
}

fn route(name: &str, entry: &mut Entry<'_>) -> Route {
    let tell = entry.words("tell", NAMES);
    if tell.is_empty() {
        let what = "a route without `tell` leads to nobody".to_owned();
        entry.conflict("tell", what, format!("write {NAMES}"));
    }
    let severity = entry.choice("severity", &["info", "warning", "critical"]);
    let send = entry.choice("send", &["at-once", "daily", "weekly"]);
    Route {
        name: name.to_owned(),
        properties: listed(entry, "properties", "ids of properties", |text| Id::new(text).ok()),
        findings: listed(entry, "findings", "kinds of finding, such as [\"flooding\"]", FindingKind::named),
        severity: severity.and_then(|name| Severity::named(&name)).unwrap_or(Severity::Info),
        hours: entry.parsed("hours", "hours such as \"07:00-19:00\""),
        pace: match send.as_deref() {
            Some("daily") => Pace::Daily,
            Some("weekly") => Pace::Weekly,
            _ => Pace::AtOnce,
        },
        tell,
        repeat: entry.parsed("repeat", "a span such as \"4h\""),
        escalate: rungs(entry),
    }
}

fn listed<T>(entry: &mut Entry<'_>, key: &str, expected: &str, read: impl Fn(&str) -> Option<T>) -> Vec<T> {
    let words = entry.words(key, expected);
    let understood = words.iter().filter_map(|word| {
        entry.understand(key, expected, word, read(word).ok_or_else(|| "it is none".to_owned()))
    });
    understood.collect()
}

fn rungs(entry: &mut Entry<'_>) -> Vec<Rung> {
    let mut rungs = Vec::new();
    entry.tables("escalate", &["after", "tell"], |rung| {
        rung.required("after", "a span such as \"30m\"");
        let after = rung.parsed("after", "a span such as \"30m\"");
        let tell = rung.words("tell", NAMES);
        if tell.is_empty() {
            let what = "a step of `escalate` without `tell` leads to nobody".to_owned();
            rung.conflict("tell", what, format!("write {NAMES}"));
        }
        rungs.extend(after.map(|after| Rung { after, tell }));
    });
    rungs
}
