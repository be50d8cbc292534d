//! The history of floods as a page.

use std::collections::BTreeSet;
use std::sync::Arc;

use maud::{Markup, html};

use super::account::{Flood, FloodWork};
use crate::desk::assets;
use crate::desk::pages::{LISTED_PROPERTIES, Page, layout_with};
use crate::desk::sheet::Chrome;
use crate::desk::words;
use crate::model::{EventTime, Id, Span, System, Work};

/// Floods that the page shows at most.
const LISTED: usize = 300;

/// What the page shows.
pub(super) struct FloodSheet {
    pub(super) year: i16,
    /// Years that may be asked for, newest first.
    pub(super) years: Vec<i16>,
    /// Of this property only.
    pub(super) property: Option<Id>,
    /// A property was asked for that is not in sight.
    pub(super) is_beyond: bool,
    /// All systems in sight.
    pub(super) systems: Arc<Vec<Arc<System>>>,
    /// Newest first.
    pub(super) floods: Vec<Flood>,
    pub(super) now: EventTime,
}

pub(super) fn page(chrome: &Chrome, sheet: &FloodSheet) -> String {
    let (year, floods) = (sheet.year, &sheet.floods);
    let title = format!("Floods in {year}");
    let main = html! {
        h1 { (title) @if let Some(property) = &sheet.property { ", " (words::title(property.as_str())) } }
        nav class="ways" aria-label="Years" {
            ul {
                @for other in &sheet.years {
                    li { a href=(address("/floods", *other, sheet.property.as_ref())) aria-current=[(*other == year).then_some("true")] { (other) } }
                }
            }
        }
        (choose(sheet))
        @if sheet.is_beyond { p class="problem" { "No property that you see is called so." } }
        @else { p { (summary(sheet)) } }
        @if !floods.is_empty() {
            ul class="alerts" { @for flood in floods.iter().take(LISTED) { (one(sheet, flood)) } }
            @if floods.len() > LISTED { p { "The " (words::count(LISTED)) " newest are shown; the table has all of them." } }
            p { a class="target" href=(address("/floods.csv", year, sheet.property.as_ref())) download { "As a table (CSV)" } }
        }
        p class="key" { "A flood is water that stood past the time that its basin is allowed, or at its rim. It counts in the year in which it was found. Work is told here that was written down at the system from the beginning of a flood until a day after its end." }
        p { "What is wrong now: " a class="target" href="/alerts" { "alerts" } ". All that was wrong, measured and done in a year is in the yearly record of each system." }
    };
    let here = address("/floods", year, sheet.property.as_ref());
    let page = Page { title: &title, here: &here, fragment: "", live: false };
    layout_with(chrome, &page, &[&assets::FORMS], &main).into_string()
}

/// The address of a list.
fn address(path: &str, year: i16, property: Option<&Id>) -> String {
    let property = property.map_or_else(String::new, |property| format!("&property={property}"));
    format!("{path}?year={year}{property}")
}

/// The form that narrows the list down to a property.
fn choose(sheet: &FloodSheet) -> Markup {
    let properties: BTreeSet<&Id> = sheet.systems.iter().map(|system| &system.property).collect();
    html! {
        @if (2..=LISTED_PROPERTIES).contains(&properties.len()) {
            search {
                form class="acts" method="get" action="/floods" {
                    input type="hidden" name="year" value=(sheet.year);
                    label class="act" { "Property " select name="property" {
                        option value="" { "all" }
                        @for property in properties {
                            option value=(property) selected[sheet.property.as_ref() == Some(property)] { (words::title(property.as_str())) }
                        }
                    } }
                    button type="submit" { "Show" }
                }
            }
        }
    }
}

/// How many floods, where, and for how long.
fn summary(sheet: &FloodSheet) -> String {
    let floods = &sheet.floods;
    if floods.is_empty() {
        return format!("No flood was found in {}.", sheet.year);
    }
    let systems: BTreeSet<&Id> = floods.iter().map(|flood| &flood.system).collect();
    let hours: f64 = floods.iter().map(|flood| flood.hours).sum();
    let number = |count: usize, one: &str, many: &str| {
        format!("{} {}", words::count(count), if count == 1 { one } else { many })
    };
    let stand = floods.iter().filter(|flood| flood.ended_at.is_none()).count();
    let standing = match stand {
        0 => String::new(),
        1 => " One stands now.".to_owned(),
        many => format!(" {} stand now.", words::capitalised(&words::count(many))),
    };
    format!(
        "{} at {}; water stood for {} in all.{standing}",
        words::capitalised(&number(floods.len(), "flood", "floods")),
        number(systems.len(), "system", "systems"),
        words::span(Span::from_mins((hours * 60.0).round() as i64))
    )
}

fn one(sheet: &FloodSheet, flood: &Flood) -> Markup {
    let zone =
        sheet.systems.iter().find(|system| system.id == flood.system).map(|system| system.zone.clone());
    let zone = zone.unwrap_or(jiff::tz::TimeZone::UTC);
    let when = |at: EventTime| words::moment(at, sheet.now, &zone).words;
    let lasted = words::span(Span::from_mins((flood.hours * 60.0).round() as i64));
    html! {
        li class={ "alert " (if flood.ended_at.is_none() { "now" } else { "fine" }) } {
            div {
                p class="name" {
                    @match flood.alert {
                        Some(no) => a href={ "/alerts/" (no) } { (flood.headline) span class="unseen" { ", " (flood.name) ", alert " (no) } },
                        None => (flood.headline),
                    }
                }
                p class="standing" { a href={ "/systems/" (flood.system) } { (flood.name) } }
                p {
                    "Water stood from " (when(flood.began_at))
                    @match flood.ended_at {
                        Some(ended) => { " to " (when(ended)) ": " (lasted) "." },
                        None => { " and stands: " (lasted) " so far." },
                    }
                    " Found " (when(flood.found_at)) "."
                }
                p {
                    @match &flood.taken {
                        Some(taken) => { "Taken on by " (taken.by) ", " (when(taken.at)) "." },
                        None => "Nobody took it on.",
                    }
                    @if let Some(closed) = &flood.closed { " Closed by " (closed.by) ", " (when(closed.at)) ": " (closed.reason) "." }
                    @else if flood.ended_at.is_some() { " It closed by itself when it was over." }
                }
                @if flood.work.is_empty() { p { "No work was written down." } }
                @else { ul { @for work in &flood.work { li { (done(work, &when(work.at))) } } } }
            }
        }
    }
}

fn done(work: &FloodWork, when: &str) -> Markup {
    let names = work.work.iter().map(|name| Work::named(name).map_or_else(|| name.clone(), Work::words));
    let names: Vec<String> = names.collect();
    let did = if names.is_empty() { "looked at".to_owned() } else { names.join(", ") };
    html! {
        a href={ "/services/" (work.key) } { (work.place) ": " (did) span class="unseen" { ", " (when) } }
        @if !work.note.is_empty() { " (" (work.note) ")" }
        ", by " (work.by) ", " (when)
    }
}
