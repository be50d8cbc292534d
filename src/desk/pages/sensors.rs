//! All sensors of a system, and those in doubt of all systems.

use maud::{Markup, html};

use super::layout::{Page, layout};
use super::mark;
use super::part::Part;
use crate::desk::sheet::{Chrome, DoubtsSheet, SensorState, SensorsSheet};
use crate::desk::words;

/// The page around its `main`.
pub fn sensors_page(chrome: &Chrome, sheet: &SensorsSheet) -> String {
    let here = format!("/systems/{}/sensors", sheet.system.0);
    let fragment = format!("/fragments{here}");
    let title = format!("Sensors of {}", sheet.system.1);
    let page = Page { title: &title, here: &here, fragment: &fragment, live: true };
    layout(chrome, &page, &sensors_page_main(sheet)).into_string()
}

/// What is inside `main`.
pub fn sensors_page_main(sheet: &SensorsSheet) -> Markup {
    let part = |name: &str, content: Markup| {
        Part::new(name, |print| html! { div data-part=(name) data-print=(print) { (content) } })
    };
    let id = &sheet.system.0;
    html! {
        (part("heading", html! {
            p class="trail" { a href="/" { "All systems" } " › " a href={ "/systems/" (id) } { (sheet.system.1) } }
            h1 { "Sensors of " (sheet.system.1) }
            (mark::today(&sheet.today))
            p { (summary(&sheet.rows)) }
            @for says in &sheet.batteries { p class="check" { b { "Battery, " } (says) "." } }
        }).markup())
        (part("sensors", list(&sheet.rows)).markup())
        (part("ways", html! {
            h2 { "How they are heard" }
            ul {
                li { "Each sends under its own name (its topic), which stands below it, to " code { (sheet.broker) } " (the MQTT broker), with QoS 1. What it may send, its own page tells." }
                @if sheet.hears_all { li { "What was heard and is of no system, and what was refused: " a class="target" href="/heard" { "sensor messages" } "." } }
                @if sheet.may_change { li { a class="target" href={ "/setup/" (id) } { "Change the system" } " to add a sensor, or to give one another topic." } }
                li { a class="target" href="/sensors" { "Sensors in doubt of all systems" } }
            }
        }).markup())
    }
}

/// How many are believed, in doubt and not heard yet.
fn summary(rows: &[SensorState]) -> String {
    let of = |is: fn(&SensorState) -> bool| rows.iter().filter(|state| is(state)).count();
    let doubted = of(|state| state.row.doubt.is_some());
    let unheard = of(|state| state.row.doubt.is_none() && state.row.last.is_none());
    let quiet = of(|state| state.row.doubt.is_none() && state.unheard);
    let believed = rows.len() - doubted - unheard - quiet;
    let parts = [
        (believed, "believed"),
        (doubted, "in doubt"),
        (quiet, "not heard for more than a day"),
        (unheard, "not heard yet"),
    ];
    let told = parts.iter().filter(|(count, _)| *count > 0);
    let told: Vec<String> = told.map(|(count, what)| format!("{} {what}", words::count(*count))).collect();
    if told.is_empty() {
        return "The system file names no sensor, and none was heard.".to_owned();
    }
    format!("{}.", words::capitalised(&told.join(", ")))
}

fn list(rows: &[SensorState]) -> Markup {
    html! { @if !rows.is_empty() { ul class="past" aria-label="All sensors" { @for state in rows { li { (line(state)) } } } } }
}

fn line(state: &SensorState) -> Markup {
    let row = &state.row;
    html! {
        a class="target" href=(row.page) { (row.words) }
        @if let Some((value, at)) = &row.last { " " b { (value) } " " span class="when" { (mark::time(at)) } }
        br;
        @match (&row.doubt, &row.last) {
            (Some((urgency, says)), _) => span class={ "trouble " (urgency.class()) } { (mark::sign(*urgency)) " " (words::capitalised(says)) },
            (None, Some((_, at))) if state.unheard => { "Not heard since " (mark::time(at)) },
            (None, Some(_)) => "Believed",
            (None, None) => "Never heard yet",
        }
        @if let Some(battery) = &state.battery { ". Battery: " (battery) }
        br;
        code class="when" { (state.topic) }
    }
}

/// The page of sensors in doubt.
pub fn doubts_page(chrome: &Chrome, sheet: &DoubtsSheet) -> String {
    let page = Page { title: "Sensors in doubt", here: "/sensors", fragment: "", live: false };
    let main = html! {
        h1 { "Sensors in doubt" }
        p { "A sensor that is silent, stuck or wrong sees nothing: what it watches may be wrong without anybody being told." }
        @if sheet.rows.is_empty() { p { "None: every sensor that was heard is believed." } }
        @else {
            ul class="alerts" {
                @for row in &sheet.rows {
                    li class={ "alert " (row.urgency.class()) } {
                        div {
                            p class="name" { (mark::sign(row.urgency)) " " a href=(row.page) { (row.headline) span class="unseen" { ", " (row.system.1) } } }
                            p class="standing" { "Since " (mark::time(&row.since)) ". " a href={ "/systems/" (row.system.0) "/sensors" } { "All sensors of " (row.system.1) } }
                        }
                    }
                }
            }
        }
        @if !sheet.unheard.is_empty() {
            h2 { "Not heard yet" }
            ul class="past" {
                @for (id, name, says) in &sheet.unheard { li { a class="target" href={ "/systems/" (id) "/sensors" } { "Sensors of " (name) } " " span class="when" { (says) } } }
            }
        }
        p { "All sensors of a system, with their topics and batteries, are on a page of their own: “Sensors” on the page of the system." }
    };
    layout(chrome, &page, &main).into_string()
}
