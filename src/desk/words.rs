//! Numbers and times in words.

use jiff::tz::TimeZone;
use serde_json::Value as Json;

use super::sheet::{Counts, Moment, SystemCard, Urgency};
pub(super) use crate::advice::grouped;
use crate::model::{EventTime, Quantity, Span, Value};

/// A no-break space, between a number and its unit.
const NBSP: char = '\u{a0}';

/// `at` in the words of `zone`, seen from `now`: `today 14:05`, `yesterday 23:10`, `3 Mar 14:05`,
/// `3 Mar 2025 14:05`.
pub(super) fn moment(at: EventTime, now: EventTime, zone: &TimeZone) -> Moment {
    let there = at.timestamp().to_zoned_datetime(zone.clone());
    let here = now.timestamp().to_zoned_datetime(zone.clone());
    let words = match now.local_day(zone) - at.local_day(zone) {
        0 => there.strftime("today %H:%M").to_string(),
        1 => there.strftime("yesterday %H:%M").to_string(),
        _ if there.year() == here.year() => there.strftime("%-d %b %H:%M").to_string(),
        _ => there.strftime("%-d %b %Y %H:%M").to_string(),
    };
    Moment { at, words }
}

/// The day in a yard, and whose clock its times are told by: `Friday 27 November 2026, Adelaide time`.
pub(super) fn today(now: EventTime, zone: &TimeZone) -> String {
    let day = now.timestamp().to_zoned_datetime(zone.clone()).strftime("%A %-d %B %Y");
    match city(zone).as_deref() {
        Some("UTC") | None => format!("{day}, {}", zone.iana_name().unwrap_or("local time")),
        Some(city) => format!("{day}, {city} time"),
    }
}

/// From when to when: `3 Mar`, `March`, `3 Mar to 10 Mar`, `3 Mar 14:00 to 15:00`; with the year where it
/// is not the one of `now`.
pub(super) fn between(from: EventTime, to: EventTime, now: EventTime, zone: &TimeZone) -> String {
    let local = |at: EventTime| at.timestamp().to_zoned_datetime(zone.clone());
    let (from, to, here) = (local(from), local(to), local(now));
    let year = if to.year() == here.year() && from.year() == here.year() { "" } else { " %Y" };
    let is_midnight = |at: &jiff::ZonedDateTime| (at.hour(), at.minute(), at.second()) == (0, 0, 0);
    let day = |at: &jiff::ZonedDateTime| at.strftime(&format!("%-d %b{year}")).to_string();
    let clock = |at: &jiff::ZonedDateTime| at.strftime("%H:%M").to_string();
    if is_midnight(&from) && is_midnight(&to) {
        let next = |span: jiff::Span| from.checked_add(span).is_ok_and(|after| after == to);
        return if next(jiff::Span::new().days(1)) {
            from.strftime(&format!("%a %-d %b{year}")).to_string()
        } else if from.day() == 1 && next(jiff::Span::new().months(1)) {
            from.strftime(&format!("%B{year}")).to_string()
        } else {
            let last = to.yesterday().unwrap_or_else(|_| to.clone());
            format!("{} to {}", day(&from), day(&last))
        };
    }
    if from.date() == to.date() {
        format!("{} {} to {}", day(&from), clock(&from), clock(&to))
    } else if is_midnight(&to) && from.tomorrow().is_ok_and(|next| next.date() == to.date()) {
        format!("{} {} to 24:00", day(&from), clock(&from))
    } else {
        format!("{} {} to {} {}", day(&from), clock(&from), day(&to), clock(&to))
    }
}

/// Water content within some time: `31.4 % water`, or `30 % to 34 % water, mean 31.4 %`.
pub(super) fn moisture_range(low: f64, mean: f64, high: f64) -> String {
    let exact = |content: f64| format!("{:.1}{NBSP}%", content * 100.0);
    if exact(low) == exact(high) {
        format!("{} water", exact(mean))
    } else {
        format!("{} to {} water, mean {}", exact(low), exact(high), exact(mean))
    }
}

/// A span with its unit: `6.5 h`.
pub(super) fn span(span: Span) -> String {
    span.to_string().replace(' ', &NBSP.to_string())
}

/// A fraction as a whole percentage: `31 %`.
pub(super) fn percent(fraction: f64) -> String {
    format!("{:.0}{NBSP}%", fraction * 100.0)
}

/// A share of the design, with a decimal where whole percentages would not add up: `25 %`, `12.5 %`.
pub(super) fn share(fraction: f64) -> String {
    let percentage = fraction * 100.0;
    if (percentage - percentage.round()).abs() < 0.05 {
        return percent(fraction);
    }
    format!("{percentage:.1}{NBSP}%")
}

/// A probability as a percentage that never claims certainty: `97 %`, `over 99 %`.
pub(super) fn chance(probability: f64) -> String {
    match probability {
        p if p > 0.99 => format!("over 99{NBSP}%"),
        p if p < 0.01 => format!("under 1{NBSP}%"),
        p => percent(p),
    }
}

/// A small number spelt out, a large one in digits.
pub(super) fn count(number: usize) -> String {
    const SMALL: [&str; 13] = [
        "no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven",
        "twelve",
    ];
    SMALL.get(number).map_or_else(|| grouped(number as u64), |word| (*word).to_owned())
}

/// Why a record was refused, with units as people write them: a water content above 1 is more than all of the soil.
pub(super) fn refusal(detail: &str) -> String {
    let told = detail.replace("m3/m3", "m³/m³");
    if told.ends_with("above 1 m³/m³") { format!("{told}, which is 100{NBSP}% by volume") } else { told }
}

/// The place that a zone is called after, as people write it: `Buenos Aires`.
pub(super) fn city(zone: &TimeZone) -> Option<String> {
    zone.iana_name().map(city_named)
}

/// The same of the zone's name: `America/Argentina/Buenos_Aires`.
pub(super) fn city_named(zone: &str) -> String {
    zone.rsplit('/').next().unwrap_or(zone).replace('_', " ")
}

/// A split, with what sides a and b feed: `plum 62 : pear 38`.
pub(super) fn split(share_a: f64, [a, b]: &[String; 2]) -> String {
    let to_a = (share_a * 100.0).round();
    format!("{a} {to_a:.0} : {b} {:.0}", 100.0 - to_a)
}

/// `1 of 9 sensors heard so far.`, while that is not all of them.
pub(super) fn partly_heard(card: &SystemCard) -> Option<String> {
    card.partly_heard().map(|(heard, all)| {
        format!("{} of {} sensors heard so far.", grouped(heard as u64), grouped(all as u64))
    })
}

/// The state of all systems in one sentence.
pub(super) fn summary(counts: &Counts, flooded: &[&str]) -> String {
    if counts.all() == 0 {
        return "No system is set up yet.".to_owned();
    }
    let mut clauses = Vec::new();
    for urgency in Urgency::ALL {
        let number = counts.of(urgency);
        if number == 0 {
            continue;
        }
        let (one, many) = match urgency {
            Urgency::Now => ("needs somebody now", "need somebody now"),
            Urgency::Soon => ("needs a visit soon", "need a visit soon"),
            Urgency::NextVisit => ("has something for the next visit", "have something for the next visit"),
            Urgency::Work => ("has planned work due", "have planned work due"),
            Urgency::Unheard => {
                ("has sensors that were not heard yet", "have sensors that were not heard yet")
            }
            Urgency::Fine => ("is fine", "are fine"),
        };
        let noun = match (clauses.is_empty(), number) {
            (true, 1) => " system",
            (true, _) => " systems",
            (false, _) => "",
        };
        clauses.push(format!("{}{noun} {}", count(number), if number == 1 { one } else { many }));
    }
    if clauses.len() == 1 && counts.of(Urgency::Fine) == counts.all() {
        return "Everything is fine.".to_owned();
    }
    let state = capitalised(&format!("{}.", clauses.join(", ")));
    if flooded.is_empty() { state } else { format!("{}. {state}", standing(flooded)) }
}

/// `Water stands in 2 basins: fig, grevillea`
fn standing(basins: &[&str]) -> String {
    const NAMED: usize = 4;
    let mut names = basins.iter().take(NAMED).copied().collect::<Vec<_>>().join(", ");
    if basins.len() > NAMED {
        names.extend([" and ", &count(basins.len() - NAMED), " more"]);
    }
    match basins.len() {
        1 => format!("Water stands in one basin: {names}"),
        many => format!("Water stands in {} basins: {names}", count(many)),
    }
}

/// A value of a sensor with its unit.
pub(super) fn value(quantity: Quantity, number: f64) -> String {
    match (quantity, Value::from_number(quantity, number)) {
        (_, Value::Wet(true)) => "wet".to_owned(),
        (_, Value::Wet(false)) => "dry".to_owned(),
        (_, Value::Course(crate::model::Course::Landscape)) => "landscape".to_owned(),
        (_, Value::Course(crate::model::Course::Sewer)) => "sewer".to_owned(),
        (Quantity::Moisture, Value::Number(content)) => format!("{:.1}{NBSP}% water", content * 100.0),
        (Quantity::Temperature, Value::Number(celsius)) => format!("{celsius:.1}{NBSP}°C"),
        (Quantity::Battery, Value::Number(charge)) => format!("{charge:.0}{NBSP}%"),
        (_, Value::Number(counts)) => format!("{}{NBSP}counts", grouped(counts.max(0.0) as u64)),
    }
}

/// A number that a finding gives, by its name with unit: `standing_h` of 7.25 is `standing` and
/// `7.3 h`.
pub(super) fn estimate(name: &str, value: &Json, now: EventTime, zone: &TimeZone) -> (String, String) {
    const UNITS: [(&str, &str); 12] = [
        ("_m3_m3", "m³/m³"),
        ("_mm_h", "mm/h"),
        ("_pct", "%"),
        ("_percent", "%"),
        ("_litres", "L"),
        ("_l", "L"),
        ("_mm", "mm"),
        ("_min", "min"),
        ("_days", "days"),
        ("_d", "days"),
        ("_h", "h"),
        ("_s", "s"),
    ];
    let (stem, unit) = UNITS
        .iter()
        .find_map(|(suffix, unit)| name.strip_suffix(suffix).map(|stem| (stem, *unit)))
        .unwrap_or((name, ""));
    let mut words = estimate_value(value, now, zone);
    if !unit.is_empty() {
        words.push(NBSP);
        words.push_str(unit);
    }
    (stem.replace('_', " "), words)
}

fn estimate_value(value: &Json, now: EventTime, zone: &TimeZone) -> String {
    match value {
        Json::Number(number) => short(number.as_f64().unwrap_or(f64::NAN)),
        Json::String(text) => {
            text.parse::<EventTime>().map_or_else(|_| text.clone(), |at| moment(at, now, zone).words)
        }
        Json::Bool(yes) => if *yes { "yes" } else { "no" }.to_owned(),
        Json::Array(parts) => {
            parts.iter().map(|part| estimate_value(part, now, zone)).collect::<Vec<_>>().join(" : ")
        }
        Json::Object(parts) => parts
            .iter()
            .map(|(key, part)| format!("{key} {}", estimate_value(part, now, zone)))
            .collect::<Vec<_>>()
            .join(", "),
        Json::Null => "unknown".to_owned(),
    }
}

/// Three significant digits or the whole number.
fn short(number: f64) -> String {
    let digits = if number.abs() >= 100.0 {
        0
    } else if number.abs() >= 10.0 {
        1
    } else {
        2
    };
    let text = format!("{number:.digits$}");
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
}

/// An id as a title: `alder-court` is `Alder Court`.
pub(super) fn title(id: &str) -> String {
    id.split('-').filter(|word| !word.is_empty()).map(capitalised).collect::<Vec<_>>().join(" ")
}

/// Whether an id says anything beside a label: `quince` beside `quince tree` does not.
pub(super) fn adds(id: &str, label: &str) -> bool {
    let plain = |text: &str| format!(" {} ", text.to_lowercase().replace('-', " "));
    !plain(label).contains(&plain(id))
}

/// The text with its first letter in upper case.
pub(super) fn capitalised(text: &str) -> String {
    let mut rest = text.chars();
    rest.next().map_or_else(String::new, |first| first.to_uppercase().chain(rest).collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    fn at(text: &str) -> EventTime {
        text.parse().unwrap()
    }

    fn denver() -> TimeZone {
        TimeZone::get("America/Denver").unwrap()
    }

    #[test]
    fn a_moment_is_told_in_the_zone_of_the_yard() {
        let now = at("2026-03-02T20:00:00Z"); // 13:00 in Denver
        let says = |text| moment(at(text), now, &denver()).words;
        assert_eq!(says("2026-03-02T15:15:00Z"), "today 08:15");
        assert_eq!(says("2026-03-02T06:59:00Z"), "yesterday 23:59");
        assert_eq!(says("2026-01-31T12:00:00Z"), "31 Jan 05:00");
        assert_eq!(says("2025-12-31T12:00:00Z"), "31 Dec 2025 05:00");
    }

    #[test]
    fn the_day_and_its_clock_are_those_of_the_yard() {
        let now = at("2026-03-02T06:30:00Z"); // still the evening before in Denver
        assert_eq!(today(now, &denver()), "Sunday 1 March 2026, Denver time");
        assert_eq!(today(now, &TimeZone::get("UTC").unwrap()), "Monday 2 March 2026, UTC");
    }

    #[test]
    fn a_stretch_is_told_as_shortly_as_it_can() {
        let now = at("2026-03-20T20:00:00Z");
        let says = |from, to| between(at(from), at(to), now, &denver());
        assert_eq!(says("2026-03-03T07:00:00Z", "2026-03-04T07:00:00Z"), "Tue 3 Mar");
        assert_eq!(says("2026-03-01T07:00:00Z", "2026-04-01T06:00:00Z"), "March");
        assert_eq!(says("2026-03-02T07:00:00Z", "2026-03-09T06:00:00Z"), "2 Mar to 8 Mar");
        assert_eq!(says("2026-03-03T15:00:00Z", "2026-03-03T16:00:00Z"), "3 Mar 08:00 to 09:00");
        assert_eq!(says("2026-03-03T15:00:00Z", "2026-03-04T07:00:00Z"), "3 Mar 08:00 to 24:00");
        assert_eq!(
            says("2025-12-31T15:00:00Z", "2026-01-02T15:00:00Z"),
            "31 Dec 2025 08:00 to 2 Jan 2026 08:00"
        );
    }

    #[test]
    fn the_summary_is_one_sentence() {
        let mut counts = Counts::default();
        assert_eq!(summary(&counts, &[]), "No system is set up yet.");
        counts.add(Urgency::Fine);
        assert_eq!(summary(&counts, &[]), "Everything is fine.");
        counts.add(Urgency::Now);
        counts.add(Urgency::Soon);
        counts.add(Urgency::Soon);
        assert_eq!(
            summary(&counts, &[]),
            "One system needs somebody now, two need a visit soon, one is fine."
        );
        assert!(summary(&counts, &["fig", "plum"]).starts_with("Water stands in two basins: fig, plum. One"));
        let many = ["a", "b", "c", "d", "e"];
        assert!(
            summary(&counts, &many).starts_with("Water stands in five basins: a, b, c, d and one more. ")
        );
    }

    #[test]
    fn estimates_lose_their_suffix_to_a_unit() {
        let now = at("2026-03-02T20:00:00Z");
        let says = |name, value| estimate(name, &value, now, &denver());
        assert_eq!(says("standing_h", json!(7.25)), ("standing".into(), "7.25\u{a0}h".into()));
        assert_eq!(says("split_now", json!([0.7, 0.3])), ("split now".into(), "0.7 : 0.3".into()));
        assert_eq!(says("began", json!("2026-03-02T15:15:00Z")), ("began".into(), "today 08:15".into()));
        assert_eq!(says("drained_mm", json!(120)), ("drained".into(), "120\u{a0}mm".into()));
    }

    #[test]
    fn numbers_read_well() {
        assert_eq!(count(3), "three");
        assert_eq!(count(1200), "1\u{a0}200");
        assert_eq!(chance(0.999), "over 99\u{a0}%");
        assert_eq!(chance(0.87), "87\u{a0}%");
        assert_eq!(value(Quantity::Moisture, 0.314), "31.4\u{a0}% water");
        assert_eq!(value(Quantity::Float, 1.0), "wet");
        assert_eq!(title("alder-court"), "Alder Court");
        assert!(!adds("quince", "quince tree") && !adds("bitter-orange", "Bitter orange"));
        assert!(adds("b2", "quince tree") && adds("plum", "plumbago"));
    }
}
