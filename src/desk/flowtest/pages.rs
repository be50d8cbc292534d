//! The pages of flow tests.

use maud::{Markup, html};

use super::gather::{SplitSheet, TestSheet};
use super::work::RUN_ENDED;
use crate::advice::quoted;
use crate::desk::assets;
use crate::desk::pages::{Page, Part, layout_with, time};
use crate::desk::sheet::Chrome;
use crate::desk::units::Units;
use crate::desk::words;
use crate::flowtest::{Method, Verdict};
use crate::model::System;

/// Tests of one system.
#[derive(Debug)]
pub(super) struct ListSheet<'a> {
    pub(super) system: &'a System,
    pub(super) tests: Vec<TestSheet>,
    /// For the form that begins one.
    pub(super) key: String,
    pub(super) problem: Option<String>,
    pub(super) units: Units,
}

fn csrf(chrome: &Chrome) -> Markup {
    html! { @if let Some(who) = &chrome.who { input type="hidden" name="csrf" value=(who.csrf); } }
}

fn problem(problem: Option<&String>) -> Markup {
    html! { @if let Some(problem) = problem { p class="problem" role="alert" { (words::capitalised(problem)) "." } } }
}

fn may_act(chrome: &Chrome) -> bool {
    chrome.who.as_ref().is_some_and(|who| who.attends)
}

/// The list, and the form that begins a test.
pub(super) fn list(chrome: &Chrome, sheet: &ListSheet<'_>) -> String {
    let system = sheet.system;
    let here = format!("/systems/{}/tests", system.id);
    let running = sheet.tests.iter().find(|test| test.ended.is_none());
    let main = html! {
        p class="trail" { a href={ "/systems/" (system.id) } { (system.name) } }
        h1 { "Flow tests" }
        (problem(sheet.problem.as_ref()))
        @match running {
            Some(test) => { p class="check" { "A test is running since " (time(&test.began)) ": " a href={ "/tests/" (test.key) } { "watch it" } "." } }
            None if may_act(chrome) => { (begin(chrome, sheet, &here)) }
            None => {}
        }
        h2 { "Tests so far" }
        @if sheet.tests.iter().all(|test| test.ended.is_none()) { p { "None is over yet." } }
        ol class="records" {
            @for test in sheet.tests.iter().filter(|test| test.ended.is_some()) {
                li {
                    p class="name" { a href={ "/tests/" (test.key) } { (test.began.words) } ", " (method_words(test.method)) }
                    p { (test.says) }
                    @if !test.given_up {
                        p { @for (at, split) in test.splits.iter().enumerate() {
                            @if at > 0 { "; " } (quoted(&split.id)) " " @match &split.split { Some((split, _)) => b { (split) }, None => { "not measured: " (split.why) } }
                        } }
                    }
                    p class="when" { "by " (test.by) }
                }
            }
        }
    };
    let page = Page { title: "Flow tests", here: &here, fragment: "", live: false };
    layout_with(chrome, &page, &[&assets::FORMS, &assets::RECORD_STYLE], &main).into_string()
}

const fn method_words(method: Method) -> &'static str {
    match method {
        Method::Probes => "by the probes",
        Method::Buckets => "by buckets",
    }
}

fn begin(chrome: &Chrome, sheet: &ListSheet<'_>, here: &str) -> Markup {
    let units = sheet.units;
    html! {
        p { "Run water on purpose and see what each basin gets. Turn the diverter to the landscape first. Let children and animals keep away; wear gloves below the outlets." }
        form class="form" method="post" action=(here) {
            (csrf(chrome))
            input type="hidden" name="key" value=(sheet.key);
            input type="hidden" name="units" value=(units.name());
            fieldset {
                legend { "Measured" }
                label class="choice" { input type="radio" name="method" value="probes" checked; "by the probes: run a bath or a bucket and watch" }
                label class="choice" { input type="radio" name="method" value="buckets"; "by buckets below the outlets: needs no probe" }
            }
            div class="field" {
                label for="litres" { "How much will be run, if known (" (units.volume_unit()) ")" }
                input id="litres" type="number" name="litres" min="0" step="any" inputmode="decimal";
            }
            div class="field" {
                label for="note" { "What for" }
                input id="note" name="note" maxlength="200" autocomplete="off" placeholder="after levelling s1";
            }
            p { button type="submit" { "Begin: water runs now" } }
        }
    }
}

/// What the last press of a button came to, where the page itself does not show it.
pub(super) enum Pressed {
    /// Nothing was pressed, or the page shows it.
    Nothing,
    /// It was refused, for this reason.
    Refused(String),
    /// The engine was told that the water is off.
    WaterOff,
}

/// The page around the `main` of one test.
pub(super) fn test(
    chrome: &Chrome,
    sheet: &TestSheet,
    system: &System,
    units: Units,
    pressed: &Pressed,
) -> String {
    let here = format!("/tests/{}", sheet.key);
    let fragment = format!("/fragments{here}");
    let page = Page { title: "Flow test", here: &here, fragment: &fragment, live: sheet.ended.is_none() };
    let is_running = sheet.ended.is_none();
    let main = html! {
        @match pressed {
            Pressed::Refused(reason) => (problem(Some(reason))),
            Pressed::WaterOff if is_running => {
                p class="done" role="status" { "Noted: the water is off. " (sheet.judged) " This page then shows it by itself." }
            }
            Pressed::WaterOff | Pressed::Nothing => {}
        }
        (test_main(chrome, sheet, system, units))
    };
    layout_with(chrome, &page, &[&assets::FORMS, &assets::RECORD_STYLE], &main).into_string()
}

/// What is inside `main` of one test.
pub(super) fn test_main(chrome: &Chrome, sheet: &TestSheet, system: &System, units: Units) -> Markup {
    let part = |name: &str, content: Markup| {
        Part::new(name, |print| html! { div data-part=(name) data-print=(print) { (content) } })
    };
    let is_running = sheet.ended.is_none();
    html! {
        (part("heading", heading(sheet)).markup())
        @if is_running && sheet.method == Method::Probes {
            @if may_act(chrome) { (part("water", water(chrome, sheet)).markup()) }
            (part("outlets", outlets(sheet)).markup())
        }
        @if is_running && sheet.method == Method::Buckets && may_act(chrome) { (part("buckets", buckets(chrome, sheet, system, units)).markup()) }
        @if !sheet.given_up { (part("splits", splits(sheet)).markup()) }
        (part("runs", runs(sheet)).markup())
        @if is_running && may_act(chrome) { (part("end", end(chrome, sheet)).markup()) }
    }
}

fn heading(sheet: &TestSheet) -> Markup {
    html! {
        p class="trail" {
            a href={ "/systems/" (sheet.system.0) } { (sheet.system.1) } " › "
            a href={ "/systems/" (sheet.system.0) "/tests" } { "Flow tests" }
        }
        h1 { "Flow test " (method_words(sheet.method)) }
        p class="heard" {
            "Begun " (time(&sheet.began)) " by " (sheet.by)
            @if let Some(litres) = &sheet.litres { ", with " (litres) }
            @if let Some((at, by)) = &sheet.ended { "; ended " (time(at)) " by " (by) }
            "."
        }
        @if !sheet.note.is_empty() { p { (words::capitalised(&sheet.note)) } }
        p class={ "verdict" @if sheet.proved { " even" } } data-say { b { (sheet.says) } }
    }
}

fn outlets(sheet: &TestSheet) -> Markup {
    html! {
        h2 { "Which outlets have answered" }
        ol class="arrivals" {
            @for outlet in &sheet.outlets {
                li class=[outlet.arrived.is_some().then_some("here")] { b { (outlet.place) } ": " (outlet.says) }
            }
        }
        p class="key" { "A probe tells no sooner than it reports, so neighbours may change places. An outlet that stays dry while its neighbours answer may be blocked." }
    }
}

fn splits(sheet: &TestSheet) -> Markup {
    html! {
        h2 { "The splitters" }
        ul class="splits" { @for split in &sheet.splits { li class=(verdict_class(split.verdict)) { (split_item(split)) } } }
        p class="key" {
            @match sheet.method {
                Method::Probes => "By the probes, a split is told against how it was when they were learnt. Each run counts by how sure it is (inverse variance); runs that scatter more than they should widen what is told as most likely, which holds nineteen times in twenty (Birge’s ratio).",
                Method::Buckets => "By buckets, a split is told as it is. A bucket read to the nearest mark is off by the mark over √12 (JCGM 100, 4.3.7); runs count by how sure they are.",
            }
        }
    }
}

fn split_item(split: &SplitSheet) -> Markup {
    html! {
        p class="name" { "Splitter " (quoted(&split.id)) ": " (verdict_words(split.verdict)) }
        @if let Some((now, interval)) = &split.split { p { b class="big" { (now) } " (" (interval) "; design " (split.design) ")" } }
        @if let Some((share, (low, high), design)) = split.drawn { (scale(share, low, high, design)) }
        p { (split.says) }
        @if !split.next.is_empty() { p class="first" { b { "Next: " } (split.next) } }
        @if let Some(before) = &split.before { p class="when" { (before) } }
    }
}

/// The share of side a on a line from 0 to 1: its interval, itself and the design.
fn scale(share: f64, low: f64, high: f64, design: f64) -> Markup {
    let x = |share: f64| format!("{:.1}", 4.0 + share * 232.0);
    html! {
        svg class="scale" viewBox="0 0 240 22" width="240" height="22" aria-hidden="true" {
            line class="axis" x1="4" y1="11" x2="236" y2="11" {}
            line class="design" x1=(x(design)) y1="2" x2=(x(design)) y2="20" {}
            line class="doubt" x1=(x(low)) y1="11" x2=(x(high)) y2="11" {}
            circle class="now" cx=(x(share)) cy="11" r="4.5" {}
        }
    }
}

const fn verdict_words(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Even => "divides as designed",
        Verdict::Uneven => "does not divide as designed",
        Verdict::Unclear => "not clear yet",
        Verdict::Unmeasured => "not measured",
    }
}

const fn verdict_class(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Even => "even",
        Verdict::Uneven => "uneven",
        Verdict::Unclear | Verdict::Unmeasured => "unclear",
    }
}

fn runs(sheet: &TestSheet) -> Markup {
    html! {
        h2 { "The runs" }
        @if sheet.runs.is_empty() { p { "None is measured yet." } }
        @for (at, by) in &sheet.run_ends { p class="when" { "The water was off " (time(at)) ", said " (by) "." } }
        ol class="past" {
            @for run in &sheet.runs {
                li {
                    b { (time(&run.at)) } @if let Some(litres) = &run.litres { ", " (litres) } ": "
                    @for (at, (basin, part)) in run.parts.iter().enumerate() { @if at > 0 { ", " } (basin) " " (part) }
                    @if let Some(quality) = &run.quality { " " span class="when" { "quality " (quality) } }
                }
            }
        }
        @if !sheet.unjudged.is_empty() {
            h3 { "Not judged" }
            ul class="past" { @for (at, why) in &sheet.unjudged { li { b { (time(at)) } ": " (why) "." } } }
        }
    }
}

fn buckets(chrome: &Chrome, sheet: &TestSheet, system: &System, units: Units) -> Markup {
    html! {
        h2 { "What the buckets hold" }
        p { "Put a bucket below each outlet, run the water, and read every bucket when the drip has stopped. Leave out outlets without a bucket." }
        form class="form" method="post" action={ "/tests/" (sheet.key) } {
            (csrf(chrome))
            input type="hidden" name="run" value={ (sheet.key) "-" (sheet.runs.len()) };
            input type="hidden" name="units" value=(units.name());
            div class="pair" {
                @for basin in &system.basins {
                    div class="field" {
                        label for={ "caught-" (basin.id) } { (words::capitalised(basin.label())) " (" (units.volume_unit()) ")" }
                        input id={ "caught-" (basin.id) } type="number" min="0" step="any" inputmode="decimal" name={ "caught-" (basin.id) };
                    }
                }
                div class="field" {
                    label for="mark" { "From mark to mark (" (units.volume_unit()) ")" }
                    input id="mark" type="number" min="0" step="any" inputmode="decimal" name="mark" value=(if units == Units::Metric { "0.5" } else { "0.1" }) required;
                }
            }
            p { button name="act" value="catch" { "Add this run" } }
        }
    }
}

/// The press that matters in the yard, where a thumb finds it.
fn water(chrome: &Chrome, sheet: &TestSheet) -> Markup {
    html! {
        p { "When the water is off, say so. " (sheet.judged) }
        form class="acts" method="post" action={ "/tests/" (sheet.key) } {
            (csrf(chrome))
            button name="act" value=(RUN_ENDED) { "The water is off" }
        }
    }
}

fn end(chrome: &Chrome, sheet: &TestSheet) -> Markup {
    html! {
        form class="acts" method="post" action={ "/tests/" (sheet.key) } {
            (csrf(chrome))
            @if sheet.counted > 0 { button name="act" value="finish" { "End the test and keep this result" } }
            button class="plain" name="act" value="give-up" { "Give it up" }
        }
    }
}
