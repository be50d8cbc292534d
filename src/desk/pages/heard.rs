//! What arrived and could not be used.

use maud::{Markup, html};

use super::layout::{Page, layout};
use super::mark;
use super::part::Part;
use crate::desk::sheet::{Chrome, HeardSheet, RefusalSheet, StraySheet};
use crate::desk::words;

/// The page around its `main`.
pub fn heard(chrome: &Chrome, main: &Markup) -> String {
    let page = Page { title: "Sensor messages", here: "/heard", fragment: "/fragments/heard", live: true };
    layout(chrome, &page, main).into_string()
}

/// What is inside `main`.
pub fn heard_main(sheet: &HeardSheet) -> Markup {
    let part = |name: &str, content: Markup| {
        Part::new(name, |print| html! { div data-part=(name) data-print=(print) { (content) } })
    };
    html! {
        h1 { "Sensor messages" }
        (part("totals", totals(sheet)).markup())
        (part("refusals", refusals(&sheet.refusals)).markup())
        (part("strays", strays(&sheet.strays)).markup())
    }
}

fn totals(sheet: &HeardSheet) -> Markup {
    html! {
        p {
            b { (words::grouped(sheet.messages)) } " messages taken in, "
            b { (words::grouped(sheet.readings)) } " readings stored."
        }
        p { "Sensors send to " code { (sheet.published.0) } " (the MQTT broker), under names (topics) that begin with " code { (sheet.published.1) "/" } "." }
    }
}

fn refusals(refusals: &[RefusalSheet]) -> Markup {
    html! {
        h2 { "Not understood, and refused" }
        p { "A record that cannot be read is counted and dropped; the rest of its message is used." }
        @if refusals.is_empty() { p { "Nothing was refused." } }
        @for refusal in refusals {
            section class="refusal" {
                h3 { (words::capitalised(&refusal.reason.replace(['-', '_'], " "))) ", " (words::grouped(refusal.count)) }
                ul {
                    @for sample in &refusal.samples {
                        li {
                            p {
                                (words::capitalised(&sample.detail)) " " span class="when" { (mark::time(&sample.at)) }
                                @if let Some((page, name)) = &sample.page { " " a class="target" href=(page) { "Sensors of " (name) } }
                            }
                            p class="raw" { code { (sample.topic) } " " code { (sample.payload) } }
                        }
                    }
                }
            }
        }
    }
}

fn strays(strays: &[StraySheet]) -> Markup {
    html! {
        h2 { "Heard, but of no system" }
        p { "Sensors that no system knows, by the name under which they send (their topic). Say which basin they belong to where a system is set up or changed." }
        @if strays.is_empty() { p { "Every topic heard belongs to a system." } }
        @else {
            div class="scroll" tabindex="0" role="region" aria-label="Topics heard and not assigned" {
                table {
                    thead { tr { th scope="col" { "Topic" } th scope="col" { "Messages" } th scope="col" { "Last" } th scope="col" { "Payload" } } }
                    tbody {
                        @for stray in strays {
                            tr {
                                th scope="row" { code { (stray.topic) } @if let Some((page, name)) = &stray.page { br; a class="target" href=(page) { "Sensors of " (name) } } }
                                td class="number" { (words::grouped(stray.count)) }
                                td { (mark::time(&stray.last)) }
                                td { code { (stray.payload) } }
                            }
                        }
                    }
                }
            }
        }
    }
}
