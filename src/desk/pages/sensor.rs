//! One sensor's own page.

use maud::{Markup, html};

use super::layout::{Page, layout};
use super::part::Part;
use super::{finding, mark, system};
use crate::desk::sheet::{Chrome, DayHeard, Moment, RefusedSheet, SensorPage};
use crate::desk::words;

/// Readings that lie open; what is older is folded away.
const NEWEST: usize = 8;
/// Width of a day and height of a full one, px.
const DAY: usize = 18;
const FULL: f64 = 60.0;

/// The page around its `main`.
pub fn sensor_page(chrome: &Chrome, sheet: &SensorPage) -> String {
    let here = format!("/systems/{}/sensors/{}", sheet.system.0, sheet.name);
    let fragment = format!("/fragments{here}");
    let page = Page { title: &sheet.words, here: &here, fragment: &fragment, live: true };
    layout(chrome, &page, &sensor_page_main(sheet)).into_string()
}

/// What is inside `main`.
pub fn sensor_page_main(sheet: &SensorPage) -> Markup {
    let part = |name: &str, content: Markup| {
        Part::new(name, |print| html! { div data-part=(name) data-print=(print) { (content) } })
    };
    html! {
        (part("heading", heading(sheet)).markup())
        @if !sheet.findings.is_empty() {
            (part("findings", html! { @for open in &sheet.findings { (finding::whole(open)) } }).markup())
        }
        div class="beside" {
            (part("facts", html! {
                h2 { "How it is heard" }
                dl class="facts" { @for (name, value) in &sheet.facts { dt { (name) } dd { (value) } } }
                (days(&sheet.days))
            }).markup())
            (part("payloads", payloads(&sheet.payloads)).markup())
        }
        (part("refusals", refusals(&sheet.refusals)).markup())
        (part("readings", readings(&sheet.readings)).markup())
        (part("past", system::past(&sheet.past)).markup())
    }
}

fn heading(sheet: &SensorPage) -> Markup {
    let system = format!("/systems/{}", sheet.system.0);
    html! {
        p class="trail" {
            a href="/" { "All systems" } " › " a href=(system) { (sheet.system.1) }
            @if let Some((id, label)) = &sheet.basin { " › " a href={ (system) "/basins/" (id) } { (label) } }
        }
        h1 { (sheet.words) }
        (mark::today(&sheet.today))
        p { (sheet.verdict) }
        p class="raw" { @if sheet.is_heard { "Heard at " } @else { "Listens at " } code { (sheet.topic) } }
        details open[!sheet.is_heard] {
            summary { "What it is to send" }
            p { (words::capitalised(&sheet.sends.value)) ". Publish it with QoS 1. " @if sheet.sends.examples.len() > 1 { "Any of these would do:" } @else { "Such as:" } }
            ul { @for example in &sheet.sends.examples { li { code class="raw" { (example) } } } }
            p { code { "basinward decode " (sheet.topic) } " tells what would be made of a message, and why not." }
        }
    }
}

fn days(days: &[DayHeard]) -> Markup {
    html! {
        @if !days.is_empty() {
            h3 { "Day by day" }
            div class="scroll" tabindex="0" role="region" aria-label="Readings day by day" {
                svg class="days" width=(days.len() * DAY) height=(FULL + 2.0) role="img" aria-label={ "Readings heard in the last " (words::count(days.len())) " days" } {
                    @for (at, day) in days.iter().enumerate() {
                        rect class="room" x=(at * DAY + 1) y="1" width=(DAY - 4) height=(FULL) { title { (day.words) } }
                        rect x=(at * DAY + 1) y=(format!("{:.1}", 1.0 + FULL * (1.0 - day.part))) width=(DAY - 4) height=(format!("{:.1}", FULL * day.part)) { title { (day.words) } }
                    }
                }
            }
            p class="key" { "A bar a day (UTC), the newest on the right: full when every reading expected was heard." }
        }
    }
}

fn payloads(payloads: &[(Moment, String)]) -> Markup {
    html! {
        h2 { "Last payloads" }
        @if payloads.is_empty() { p { "None was kept yet: they are, from the next one that arrives." } }
        @else {
            ul class="past" {
                @for (at, payload) in payloads {
                    li { code class="raw" { (payload) } " " span class="when" { "arrived " (mark::time(at)) } }
                }
            }
        }
    }
}

fn refusals(refusals: &[RefusedSheet]) -> Markup {
    html! {
        h2 { "Refused on this topic" }
        @if refusals.is_empty() { p { "Nothing, among the last records that were refused." } }
        @for refusal in refusals {
            section class="refusal" {
                p { b { (refusal.detail) } " " span class="when" { (mark::time(&refusal.at)) } }
                p class="raw" { code { (refusal.payload) } }
                @if !refusal.mend.is_empty() { p { (refusal.mend) } }
            }
        }
    }
}

fn readings(readings: &[(Moment, String)]) -> Markup {
    let (newest, older) = readings.split_at(NEWEST.min(readings.len()));
    html! {
        h2 { "Last readings" }
        @if readings.is_empty() { p { "None of late." } } @else { (reading_table("Last readings", newest)) }
        @if !older.is_empty() {
            details class="table" {
                summary { (words::capitalised(&words::count(older.len()))) " older ones" }
                (reading_table("Older readings", older))
            }
        }
    }
}

fn reading_table(label: &str, readings: &[(Moment, String)]) -> Markup {
    html! {
        div class="scroll" tabindex="0" role="region" aria-label=(label) {
            table {
                thead { tr { th scope="col" { "Measured" } th scope="col" { "Value" } } }
                tbody { @for (at, value) in readings { tr { th scope="row" { (mark::time(at)) } td { (value) } } } }
            }
        }
    }
}
