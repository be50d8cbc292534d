//! Calendars in the format of RFC 5545.
//!
//! Times are written in UTC (form 2 of section 3.3.5), which needs no zone tables and means the same moment everywhere.

use std::fmt::Write;

use crate::model::{EventTime, Span};

/// Longest line without its break, octets (RFC 5545, section 3.1).
const LINE: usize = 75;

/// A calendar while it is written.
pub(super) struct Calendar {
    text: String,
}

/// One event.
pub(super) struct Event<'a> {
    /// What it is known by for ever.
    pub(super) uid: &'a str,
    /// How often it was changed.
    pub(super) sequence: u32,
    /// When this was written down.
    pub(super) stamp: EventTime,
    /// When it begins.
    pub(super) begins: EventTime,
    /// How long it takes.
    pub(super) lasts: Span,
    pub(super) summary: &'a str,
    pub(super) description: &'a str,
    pub(super) location: &'a str,
    /// Page about it.
    pub(super) url: &'a str,
    /// How long before it the calendar reminds.
    pub(super) remind: Span,
}

impl Calendar {
    /// An empty one called `name`, to be fetched again every hour.
    pub(super) fn new(name: &str) -> Self {
        let mut calendar = Self { text: String::new() };
        calendar.line("BEGIN:VCALENDAR");
        calendar.line("VERSION:2.0");
        calendar.line("PRODID:-//Basinward//Visits//EN");
        calendar.line("CALSCALE:GREGORIAN");
        calendar.line("METHOD:PUBLISH");
        // RFC 7986, sections 5.1 and 5.7.
        calendar.property("NAME", name);
        calendar.line("REFRESH-INTERVAL;VALUE=DURATION:PT1H");
        calendar
    }

    /// Adds an event with its reminder.
    pub(super) fn add(&mut self, event: &Event<'_>) {
        self.line("BEGIN:VEVENT");
        self.property("UID", event.uid);
        self.line(&format!("DTSTAMP:{}", time(event.stamp)));
        self.line(&format!("SEQUENCE:{}", event.sequence));
        self.line(&format!("DTSTART:{}", time(event.begins)));
        self.line(&format!("DTEND:{}", time(event.begins + event.lasts)));
        self.property("SUMMARY", event.summary);
        self.property("DESCRIPTION", event.description);
        self.property("LOCATION", event.location);
        self.line(&format!("URL:{}", event.url));
        self.line("BEGIN:VALARM");
        self.line("ACTION:DISPLAY");
        self.property("DESCRIPTION", event.summary);
        self.line(&format!("TRIGGER:-PT{}M", event.remind.millis() / 60_000));
        self.line("END:VALARM");
        self.line("END:VEVENT");
    }

    /// The whole text.
    pub(super) fn finish(mut self) -> String {
        self.line("END:VCALENDAR");
        self.text
    }

    fn property(&mut self, name: &str, value: &str) {
        self.line(&format!("{name}:{}", escaped(value)));
    }

    /// A line, folded so that no part is longer than allowed and no character is cut.
    fn line(&mut self, line: &str) {
        let mut room = LINE;
        for character in line.chars() {
            if character.len_utf8() > room {
                self.text.push_str("\r\n ");
                room = LINE - 1;
            }
            self.text.push(character);
            room -= character.len_utf8();
        }
        self.text.push_str("\r\n");
    }
}

/// Text as a value (RFC 5545, section 3.3.11). Control characters that it does not allow are left out.
fn escaped(text: &str) -> String {
    let mut escaped = String::with_capacity(text.len());
    for character in text.chars() {
        match character {
            '\\' | ';' | ',' => {
                let _ = write!(escaped, "\\{character}");
            }
            '\n' => escaped.push_str("\\n"),
            control if control.is_control() && control != '\t' => {}
            other => escaped.push(other),
        }
    }
    escaped
}

fn time(at: EventTime) -> String {
    at.timestamp().strftime("%Y%m%dT%H%M%SZ").to_string()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// RFC 5545, section 3.1: lines of at most 75 octets without their break, folded by a break and a blank; characters
    /// of several octets stay whole.
    #[test]
    fn lines_are_folded_between_characters() {
        let mut calendar = Calendar { text: String::new() };
        let long = format!("SUMMARY:{}", "Pflaumenbäume – gießen ".repeat(12));
        calendar.line(&long);
        assert!(calendar.text.split("\r\n").all(|line| line.len() <= LINE));
        assert_eq!(calendar.text.replace("\r\n ", ""), format!("{long}\r\n"));
    }

    /// RFC 5545, section 3.3.11.
    #[test]
    fn text_is_escaped() {
        assert_eq!(escaped("a, b; c\\d\ne\u{7}\r"), "a\\, b\\; c\\\\d\\ne");
    }

    #[test]
    fn times_are_in_utc() {
        assert_eq!(time("2026-03-01T09:15:00+01:00".parse().unwrap()), "20260301T081500Z");
    }
}
