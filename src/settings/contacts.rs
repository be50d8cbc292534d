//! `[contacts.NAME]`: who can be told of alerts.

use std::path::Path;

use jiff::civil::{Time, Weekday};
use jiff::tz::TimeZone;
use toml_edit::Item;

use super::file::Places;
use super::layer::Gathered;
use super::named::{Entry, entries};
use crate::alerts::{Contact, time};

const KEYS: &[&str] = &["channels", "mail", "timezone", "quiet", "most_an_hour", "digest_at", "digest_day"];
const DAYS: &[&str] = &["monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday"];

pub(super) fn gather(root: &Item, place: (&Places<'_>, &Path), gathered: &mut Gathered) {
    let mut found = Vec::new();
    entries(("contacts", root), KEYS, place, gathered, |name, entry| {
        found.push((name.to_owned(), contact(entry), entry.origin.clone()));
    });
    gathered.notices.contacts = found;
}

fn contact(entry: &mut Entry<'_>) -> Contact {
    let channels = entry.words("channels", "names of [channels] in a list, such as [\"mail\"]");
    if channels.is_empty() && !entry.has("channels") {
        entry.conflict(
            "channels",
            "a contact without `channels` cannot be told of anything".to_owned(),
            "write channels = [\"…\"], with names that [channels] has".to_owned(),
        );
    }
    let expected = "a time of day such as \"08:00\"";
    let digest_at = entry.text("digest_at", expected).and_then(|text| {
        entry.understand("digest_at", expected, &text, time(&text).ok_or_else(|| "no such time".to_owned()))
    });
    let expected = "an address such as \"ana@example.org\"";
    let mail = entry.text("mail", expected).and_then(|text| {
        let sound = text.parse::<lettre::Address>().map(|_| text.clone()).map_err(|e| e.to_string());
        entry.understand("mail", expected, &text, sound)
    });
    Contact {
        zone: zone(entry),
        quiet: entry.parsed("quiet", "hours such as \"22:00-06:30\""),
        channels,
        mail,
        most_an_hour: entry.whole("most_an_hour", (2, 3_600), "messages", 12) as usize,
        digest_at: digest_at.unwrap_or(Time::constant(8, 0, 0, 0)),
        digest_day: day(entry.choice("digest_day", DAYS).as_deref()),
    }
}

fn zone(entry: &mut Entry<'_>) -> TimeZone {
    let expected = "a time zone such as \"America/Denver\"";
    let zone = entry.text("timezone", expected).and_then(|text| {
        let found = TimeZone::get(&text).map_err(|_| "there is no such time zone".to_owned());
        entry.understand("timezone", expected, &text, found)
    });
    zone.unwrap_or(TimeZone::UTC)
}

fn day(name: Option<&str>) -> Weekday {
    match name.and_then(|name| DAYS.iter().position(|day| *day == name)) {
        Some(1) => Weekday::Tuesday,
        Some(2) => Weekday::Wednesday,
        Some(3) => Weekday::Thursday,
        Some(4) => Weekday::Friday,
        Some(5) => Weekday::Saturday,
        Some(6) => Weekday::Sunday,
        _ => Weekday::Monday,
    }
}
