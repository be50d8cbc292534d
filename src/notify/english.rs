//! The words of messages. Beside `advice` the only place that needs translating.

use std::collections::BTreeMap;
use std::fmt::Write;
use std::sync::Arc;

use jiff::tz::TimeZone;
use maud::{DOCTYPE, html};

use super::{Body, Item};
use crate::advice::{advice, foretold, headline, headline_past, place_words, severity_words};
use crate::alerts::{AlertNo, Why};
use crate::model::{FindingKind, Severity, Subject, System};

/// Longest subject, characters: about what a phone shows on its lock screen.
const SUBJECT: usize = 60;

/// What is said first of what is over, and of what is over but was opened again.
const OVER: &str = "Nothing has to be done any more.";
const REOPENED: &str = "It is over, but somebody opened it again: the page says who, and why.";

/// A message in words.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Message {
    /// One short line.
    pub subject: String,
    /// Plain text; the first line says what to do now.
    pub text: String,
    /// The same as HTML.
    pub html: String,
}

/// What is said about one alert.
struct Said {
    /// What to do now.
    first: String,
    headline: String,
    place: String,
    since: String,
    evidence: Vec<String>,
    cautions: &'static [&'static str],
}

/// The addresses that acknowledge the alerts of a message.
pub type Links = BTreeMap<AlertNo, String>;

/// Writes a message whose alerts are acknowledged by `links`.
pub fn message(body: &Body, systems: &[Arc<System>], pages: &str, links: &Links) -> Message {
    if body.test {
        return test(pages);
    }
    let system = |item: &Item| systems.iter().find(|system| system.id == item.system).map(|system| &**system);
    match body.single() {
        Some(item) => {
            let acknowledge = links.get(&item.alert).map(String::as_str);
            single(body.reason(), item, system(item), pages, acknowledge)
        }
        None => several(body, system, pages, links),
    }
}

fn test(pages: &str) -> Message {
    let text = format!(
        "Nothing has to be done: this is a test.\n\nSomebody tried this channel. Alerts will come the same way.\n\n{pages}/\n"
    );
    Message {
        subject: "TEST: this channel works".to_owned(),
        html: document(&html! {
            p { strong { "Nothing has to be done: this is a test." } }
            p { "Somebody tried this channel. Alerts will come the same way." }
        }),
        text,
    }
}

fn single(why: Why, item: &Item, system: Option<&System>, pages: &str, acknowledge: Option<&str>) -> Message {
    let said = said(item, system);
    let page = format!("{pages}/alerts/{}", item.alert);
    let subject = clipped(&if item.over {
        format!("Over: {}", said.headline)
    } else if item.reopened {
        // Only those who are reminded, or asked instead of others, have to know why they are told.
        format!("{}Open again: {}", if why == Why::Again { "" } else { prefix(why) }, said.headline)
    } else {
        format!("{}{}: {}", prefix(why), capitalised(severity_words(item.finding.severity)), said.headline)
    });
    let mut text = String::new();
    // Writing to a String cannot fail.
    if item.over {
        let _ = writeln!(text, "{OVER}\n\n{}.", said.headline);
    } else if item.reopened {
        let _ = writeln!(text, "{REOPENED}\n\n{}.", said.headline);
    } else {
        let _ = writeln!(text, "{}\n\n{}.", said.first, said.headline);
        if item.folded > 0 {
            let _ = writeln!(text, "{}", folded(item.folded));
        }
    }
    let _ = writeln!(text, "Where: {}\nSince: {}", said.place, said.since);
    let stands = !item.over && !item.reopened;
    if stands {
        for fact in &said.evidence {
            let _ = writeln!(text, "- {fact}");
        }
    }
    if let Some(acknowledge) = acknowledge.filter(|_| !item.over) {
        let _ = writeln!(text, "\nAcknowledge: {acknowledge}");
    }
    let _ = writeln!(text, "\nEverything about it: {page}");
    if stands {
        let _ = writeln!(text, "\nTake care:");
        said.cautions.iter().for_each(|caution| {
            let _ = writeln!(text, "- {caution}");
        });
    }
    let html = document(&html! {
        @if !stands {
            p { strong { @if item.over { (OVER) } @else { (REOPENED) } } }
            p { (said.headline) "." }
        } @else {
            p { strong { (said.first) } }
            p { (said.headline) "." @if item.folded > 0 { " " (folded(item.folded)) } }
        }
        p { "Where: " (said.place) br; "Since: " (said.since) }
        @if stands && !said.evidence.is_empty() { ul { @for fact in &said.evidence { li { (fact) } } } }
        @if !item.over {
            @if let Some(acknowledge) = acknowledge { p { a href=(acknowledge) { "Acknowledge" } } }
        }
        p { a href=(page) { "Everything about it" } }
        @if stands { p { "Take care:" } ul { @for caution in said.cautions { li { (caution) } } } }
    });
    Message { subject, text, html }
}

/// One alert of several.
struct Entry<'a> {
    line: String,
    /// What to do now, where that cannot wait for the page.
    first: Option<String>,
    cautions: &'static [&'static str],
    page: String,
    acknowledge: Option<&'a str>,
}

fn several<'a>(
    body: &'a Body,
    system: impl Fn(&'a Item) -> Option<&'a System>,
    pages: &str,
    links: &Links,
) -> Message {
    let over = body.items.iter().filter(|item| item.over).count();
    let subject = clipped(&match (body.reason(), body.critical) {
        (Why::Digest, _) => format!("Digest: {}", counted(body.total)),
        (_, 0) => counted(body.total),
        (_, critical) => format!("Now: {}, {critical} of them critical", counted(body.total)),
    });
    let first = match (body.critical, over == body.items.len()) {
        (_, true) => OVER,
        (0, false) => "Look through the list and decide what needs a visit.",
        (_, false) => "Begin at the top: what is critical needs somebody now.",
    };
    let entries = body.items.iter().map(|item| {
        let said = said(item, system(item));
        let urgent = !item.over && !item.reopened && item.finding.severity == Severity::Critical;
        let state = match (item.over, item.reopened) {
            (true, _) => "over",
            (false, true) => "open again",
            (false, false) => severity_words(item.finding.severity),
        };
        Entry {
            line: format!("{}: {} ({})", capitalised(state), said.headline, said.place),
            first: urgent.then_some(said.first),
            cautions: if urgent { said.cautions } else { &[] },
            page: format!("{pages}/alerts/{}", item.alert),
            acknowledge: links.get(&item.alert).map(String::as_str),
        }
    });
    let entries: Vec<Entry<'_>> = entries.collect();
    let mut cautions: Vec<&str> = Vec::new();
    for caution in entries.iter().flat_map(|entry| entry.cautions) {
        if !cautions.contains(caution) {
            cautions.push(caution);
        }
    }
    let further = body.total.saturating_sub(entries.len());
    let mut text = format!("{first}\n\n");
    for Entry { line, first, page, acknowledge, .. } in &entries {
        // Writing to a String cannot fail.
        let _ = writeln!(text, "- {line}");
        if let Some(first) = first {
            let _ = writeln!(text, "  {first}");
        }
        if let Some(acknowledge) = acknowledge {
            let _ = writeln!(text, "  Acknowledge: {acknowledge}");
        }
        let _ = writeln!(text, "  Everything about it: {page}\n");
    }
    if further > 0 {
        let _ = writeln!(text, "and {further} more.\n");
    }
    let _ = writeln!(text, "All of them: {pages}/alerts");
    if !cautions.is_empty() {
        let _ = writeln!(text, "\nTake care:");
        for caution in &cautions {
            let _ = writeln!(text, "- {caution}");
        }
    }
    let html = document(&html! {
        p { strong { (first) } }
        ul {
            @for Entry { line, first, page, acknowledge, .. } in &entries {
                li {
                    a href=(page) { (line) }
                    @if let Some(first) = first { br; (first) }
                    @if let Some(acknowledge) = acknowledge { br; a href=(acknowledge) { "Acknowledge" } }
                }
            }
        }
        @if further > 0 { p { "and " (further) " more." } }
        p { a href={ (pages) "/alerts" } { "All of them" } }
        @if !cautions.is_empty() { p { "Take care:" } ul { @for caution in &cautions { li { (caution) } } } }
    });
    Message { subject, text, html }
}

fn said(item: &Item, system: Option<&System>) -> Said {
    let finding = &item.finding;
    let advice = advice(finding.kind, system);
    let zone = system.map_or(TimeZone::UTC, |system| system.zone.clone());
    let since = item.opened_at.timestamp().to_zoned_datetime(zone);
    Said {
        first: advice.first.to_owned(),
        headline: match system {
            Some(system) if item.over || item.reopened => headline_past(finding, system),
            Some(_) if gateway(item) => format!("{} sensors fell silent together", item.folded + 1),
            Some(system) => headline(finding, system),
            None => format!("{} at {}", finding.kind, finding.subject),
        },
        place: match system {
            Some(system) => format!(
                "{}, {}{}",
                system.name,
                place_words(system, &finding.subject),
                at(system, &finding.subject)
            ),
            None => item.system.to_string(),
        },
        since: since.strftime("%A %-d %B, %H:%M").to_string(),
        evidence: finding
            .evidence
            .iter()
            .map(|fact| fact.says.clone())
            .chain(system.and_then(|system| foretold(finding, system)))
            .collect(),
        cautions: advice.cautions,
    }
}

/// Where on the plan a part is, if the plan says so.
fn at(system: &System, subject: &Subject) -> String {
    let point = match subject {
        Subject::Basin(id) => system.basins.iter().find(|basin| basin.id == *id).and_then(|basin| basin.at),
        Subject::Splitter(id) => system.splitters.iter().find(|it| it.id == *id).and_then(|it| it.at),
        Subject::Sensor(_) | Subject::Source | Subject::Diverter => None,
    };
    point.map_or_else(String::new, |point| format!(" (on the plan at {} m, {} m)", point.x_m, point.y_m))
}

fn gateway(item: &Item) -> bool {
    item.finding.kind == FindingKind::SensorSilent && item.folded >= 2
}

fn folded(count: u32) -> String {
    match count {
        1 => "One more alert follows from this.".to_owned(),
        _ => format!("{count} more alerts follow from this."),
    }
}

fn counted(total: usize) -> String {
    if total == 1 { "1 alert".to_owned() } else { format!("{total} alerts") }
}

fn prefix(why: Why) -> &'static str {
    match why {
        Why::Again => "Again. ",
        Why::Escalated => "Nobody answered. ",
        Why::Reminder => "Still. ",
        Why::Opened | Why::Over | Why::Summary | Why::Digest => "",
    }
}

/// At most [`SUBJECT`] characters, cut between words.
fn clipped(text: &str) -> String {
    if text.chars().count() <= SUBJECT {
        return text.to_owned();
    }
    let kept: String = text.chars().take(SUBJECT - 1).collect();
    let end = kept.rfind(' ').unwrap_or(kept.len());
    format!("{}…", &kept[..end])
}

fn capitalised(text: &str) -> String {
    let mut rest = text.chars();
    rest.next().map_or_else(String::new, |first| first.to_uppercase().chain(rest).collect())
}

fn document(inside: &maud::Markup) -> String {
    html! { (DOCTYPE) html lang="en" { head { meta charset="utf-8"; } body { (inside) } } }.into_string()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::advice::samples;

    fn flood(over: bool, reopened: bool) -> Message {
        let finding = samples::finding(FindingKind::Flooding, samples::basin("quince"));
        let system = Arc::new(samples::orchard());
        let item = Item {
            alert: AlertNo(7),
            system: system.id.clone(),
            finding,
            opened_at: "2026-03-02T12:00:00Z".parse().unwrap(),
            stage: "open".to_owned(),
            over,
            reopened,
            folded: 0,
        };
        let body = Body {
            why: Why::Again.name().to_owned(),
            items: vec![item],
            total: 1,
            critical: usize::from(!over && !reopened),
            test: false,
        };
        message(&body, &[system], "https://yard.example", &Links::new())
    }

    #[test]
    fn what_is_over_is_told_in_the_past_also_where_somebody_opened_it_again() {
        let stands = flood(false, false);
        assert!(stands.text.contains("The “quince tree” basin is flooding."), "{}", stands.text);
        assert!(stands.text.contains("Take care:"), "{}", stands.text);
        for (over, reopened, begins) in [(true, false, OVER), (false, true, REOPENED)] {
            let told = flood(over, reopened);
            assert!(told.text.starts_with(begins), "{}", told.text);
            for text in [&told.text, &told.html] {
                assert!(text.contains("The “quince tree” basin flooded."), "{text}");
                assert!(!text.contains("is flooding") && !text.contains("Take care:"), "{text}");
            }
        }
        assert!(flood(false, true).subject.starts_with("Open again: "));
    }
}
