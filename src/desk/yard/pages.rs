//! The visit sheet, for a phone and for paper.

use maud::{Markup, html};

use super::gather::{Stop, SystemSheet, bring_and_care, short_address};
use crate::desk::assets;
use crate::desk::pages::{
    Page, doubt, evidence, folded_on_phones, gist, layout_with, site_plan, standing, steps, time,
};
use crate::desk::record::{self, Asked};
use crate::desk::sheet::{Chrome, Moment};
use crate::desk::units::Units;
use crate::desk::words;
use crate::model::{EventTime, System};

/// A sheet for one visit.
#[derive(Debug)]
pub(super) struct Sheet<'a> {
    /// Where.
    pub(super) title: String,
    /// This page's address.
    pub(super) here: String,
    /// The sheet of all there is at the property, where this one is of one system.
    pub(super) wider: Option<(String, String)>,
    pub(super) drawn: Moment,
    pub(super) systems: Vec<SystemSheet>,
    /// The systems themselves, in the same order.
    pub(super) plans: Vec<&'a System>,
    pub(super) now: EventTime,
    pub(super) units: Units,
}

/// The care that every visit asks for, whatever is found.
const ALWAYS: &str = "Greywater carries germs. Wear waterproof gloves, do not splash or spray it, and wash hands with \
                      soap afterwards. The local plumbing and health code governs wherever it differs from this sheet.";

/// As on the page of such a system.
const UNHEARD: &str =
    "Nothing has been heard from its sensors yet, so nobody knows whether anything is wrong with it.";

/// What is looked at everywhere once a year, because no sensor sees it (common practice, no published source).
const LOOK: &str = "Lid and label in place; air gap free of mulch and roots; no rodents or nests; chips deep and loose; \
                    no water on the surface; nothing planted or built above the line.";

pub(super) fn sheet(chrome: &Chrome, sheet: &Sheet<'_>) -> String {
    let (bring, care) = bring_and_care(&sheet.systems, sheet.units);
    let stops: usize = sheet.systems.iter().map(|system| system.stops.len()).sum();
    let all = sheet.systems.iter().flat_map(|system| &system.stops);
    let done = all.filter(|stop| stop.is_done).count();
    let main = html! {
        @if let Some((address, words)) = &sheet.wider { p class="trail" { a href=(address) { (words) } } }
        h1 { "Visit sheet: " (sheet.title) }
        p class="heard" { "Drawn " (time(&sheet.drawn)) ". " span id="kept" class="screen" role="status" {} }
        p class="summary" id="places" {
            @match stops {
                _ if done > 0 && done == stops => "Somebody was at each place today where work is due.",
                _ if done > 0 => {
                    (words::capitalised(&words::count(stops - done))) " of " (words::count(stops)) " places still "
                    @if stops - done == 1 { "needs" } @else { "need" } " work; " (words::count(done)) " done today."
                }
                0 if sheet.systems.iter().all(|system| system.unheard) => (UNHEARD),
                0 => "Nothing is known to be wrong. Look everywhere once.",
                1 => "One place needs work; look everywhere else once.",
                many => { (words::capitalised(&words::count(many))) " places need work; look everywhere else once." }
            }
        }
        (first(&sheet.systems))
        section class="columns" {
            @if !bring.is_empty() {
                div { h2 { "Bring" } ul class="ticks" { @for thing in &bring { li { label class="choice" { input type="checkbox"; (thing) } } } } }
            }
            div { h2 { "Take care" } ul { @if care.is_empty() { li { (ALWAYS) } } @for caution in care { li { (caution) } } } }
        }
        @for (system, plan) in sheet.systems.iter().zip(&sheet.plans) { (one(chrome, sheet, system, plan)) }
    };
    let page = Page {
        title: &format!("Visit sheet: {}", sheet.title),
        here: &sheet.here,
        fragment: "",
        live: false,
    };
    let assets =
        [&assets::FORMS, &assets::RECORD_STYLE, &assets::RECORD, &assets::SHEET_STYLE, &assets::SHEET];
    layout_with(chrome, &page, &assets, &main).into_string()
}

/// What cannot wait, before anything else is read or packed.
fn first(systems: &[SystemSheet]) -> Markup {
    html! {
        @for system in systems {
            @for (step, places) in &system.first {
                p class="first now-first" {
                    b { "First: " } (step) " " span class="when" {
                        @if systems.len() > 1 { a class="target" href={ "#" (system.id) } { (system.name) span class="unseen" { ", further down" } } ": " }
                        (places.join(", "))
                    }
                }
            }
        }
    }
}

fn one(chrome: &Chrome, sheet: &Sheet<'_>, system: &SystemSheet, plan: &System) -> Markup {
    html! {
        section class="yard" id=(system.id) {
            h2 { a href={ "/systems/" (system.id) } { (system.name) } }
            @if system.unheard && sheet.systems.len() > 1 { p { (UNHEARD) } }
            @if let Some(drawn) = &system.plan { (folded_on_phones(html! { "The plan" span class="unseen" { " of " (system.name) } }, &site_plan(drawn, sheet.units))) }
            @if !system.stops.is_empty() {
                h3 { "Where work is due, most urgent first" }
                ol class="stops" { @for stop in &system.stops { li class={ "stop" @if stop.is_done { " done" } } data-due { (work(chrome, sheet, plan, stop)) } } }
            }
            h3 { "Look at everything else once" }
            p class="hint" { (LOOK) }
            (folded_on_phones(html! { (places(system.others.len())) span class="unseen" { " at " (system.name) } }, &html! {
                ol class="stops" { @for stop in &system.others { li class={ "stop" @if stop.is_done { " done" } } { (look(chrome, sheet, plan, stop)) } } }
            }))
        }
    }
}

fn places(count: usize) -> String {
    if count == 1 {
        "One place".to_owned()
    } else {
        format!("{} places", words::capitalised(&words::count(count)))
    }
}

fn work(chrome: &Chrome, sheet: &Sheet<'_>, system: &System, stop: &Stop) -> Markup {
    html! {
        (head(sheet, system, stop))
        @for (at, finding) in stop.findings.iter().enumerate() {
            div class={ "finding " (finding.urgency.class()) } {
                h4 { (finding.headline) }
                (standing(finding))
                (gist(finding))
                (doubt(finding))
                details { summary { "Why" span class="unseen" { ": " (finding.headline) } } (evidence(finding)) }
                @if stop.findings[..at].iter().any(|before| before.advice == finding.advice) {
                    p { "The work is the same as above." }
                } @else {
                    @let first = finding.advice.steps().next();
                    @if let Some(step) = first { p class="screen" { b { "First: " } (step) } }
                    (folded_on_phones(html! { "Every step, and when it is mended" span class="unseen" { ": " (finding.headline) } }, &html! {
                        (steps(finding))
                        p { b { "Mended when: " } (finding.advice.proof) }
                    }))
                }
            }
        }
        @for task in &stop.tasks {
            p class="task" { b { (task.title) } ", " (task.due) ". " (task.reason) " About " (task.minutes) " min." }
        }
        (write(chrome, sheet, system, stop))
    }
}

fn look(chrome: &Chrome, sheet: &Sheet<'_>, system: &System, stop: &Stop) -> Markup {
    html! {
        (head(sheet, system, stop))
        @for task in &stop.tasks { p class="when" { (task.title) ": " (task.due) "." } }
        (write(chrome, sheet, system, stop))
    }
}

fn head(sheet: &Sheet<'_>, system: &System, stop: &Stop) -> Markup {
    html! {
        p class="name" { a href=(short_address(system.id.as_str(), &stop.subject)) { (stop.place) (of(sheet, system)) } }
        p class="when" data-last {
            @match (&stop.last, &stop.unseen_since) {
                (Some((at, done)), _) => { "Last: " (done) ", " (time(at)) }
                (None, Some(since)) => { "No record since " (since) "." }
                (None, None) => {}
            }
        }
    }
}

/// Of which system, for those who hear a list of links, where the sheet has several.
fn of(sheet: &Sheet<'_>, system: &System) -> Markup {
    html! { @if sheet.systems.len() > 1 { span class="unseen" { ", " (system.name) } } }
}

/// The form on a screen, lines to write on paper.
fn write(chrome: &Chrome, sheet: &Sheet<'_>, system: &System, stop: &Stop) -> Markup {
    let mark = format!("{}-{}", system.id, stop.subject.key().replace(':', "-"));
    let asked = Asked {
        system,
        subject: &stop.subject,
        now: sheet.now,
        units: sheet.units,
        record: None,
        ticked: &[],
        mark: &mark,
    };
    html! {
        @if let Some(who) = chrome.who.as_ref().filter(|who| who.attends) {
            details class="write" {
                summary { "Write down what you found and did" span class="unseen" { ": " (stop.place) } (of(sheet, system)) }
                form class="form record" method="post" action={ "/systems/" (system.id) "/record" }
                    data-stay data-title={ (stop.place) ", " (system.name) } data-writer=(who.name) {
                    input type="hidden" name="csrf" value=(who.csrf);
                    (record::form(&asked))
                    (record::photo_field(&mark))
                    p { button type="submit" { "Write it down" span class="unseen" { ": " (stop.place) } } }
                }
            }
        }
        div class="blank" aria-hidden="true" { p { "Found:" } p { "Done:" } p { "Air gap, mulch, level:" } }
    }
}
