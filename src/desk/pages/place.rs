//! One basin's and one splitter's own page.

use maud::{Markup, html};

use super::layout::{Page, layout_with};
use super::part::Part;
use super::system::folded_on_phones;
use super::{basin, finding, level, mark, scatter, system, timeline};
use crate::advice::quoted;
use crate::desk::assets;
use crate::desk::sheet::{BasinPage, Chrome, FindingSheet, SplitterPage};
use crate::desk::units::Units;
use crate::desk::words;

fn part(name: &str, content: &Markup) -> Part {
    Part::new(name, |print| html! { div data-part=(name) data-print=(print) { (content) } })
}

fn trail((id, name): &(String, String)) -> Markup {
    html! { p class="trail" { a href="/" { "All systems" } " › " a href={ "/systems/" (id) } { (name) } } }
}

fn findings(findings: &[FindingSheet]) -> Markup {
    html! { @for open in findings { (finding::whole(open)) } }
}

/// The page around the `main` of a basin.
pub fn basin_page(chrome: &Chrome, sheet: &BasinPage, units: Units) -> String {
    let here = format!("{}?{}", sheet.timeline.page, sheet.timeline.stretch.query());
    let fragment = format!("/fragments{here}");
    let page = Page { title: &sheet.basin.label, here: &here, fragment: &fragment, live: true };
    layout_with(chrome, &page, &[&assets::TIMELINE, &assets::SCATTER], &basin_page_main(sheet, units))
        .into_string()
}

/// What is inside `main` of a basin's page.
pub fn basin_page_main(sheet: &BasinPage, units: Units) -> Markup {
    html! {
        (part("heading", &html! {
            (trail(&sheet.system))
            h1 { (words::capitalised(&sheet.basin.label)) " basin" }
            (mark::today(&sheet.today))
            ul class="drain" { li class="basin" { (basin::one(&sheet.basin, &sheet.system.0)) } }
            (write_down(&sheet.system.0, "basin", &sheet.basin.id))
        }).markup())
        @if !sheet.findings.is_empty() { (part("findings", &findings(&sheet.findings)).markup()) }
        div class="beside" {
            (part("facts", &html! {
                h2 { "In numbers" }
                dl class="facts" { @for (name, value) in &sheet.facts { dt { (name) } dd { (value) } } }
                @if !sheet.mulch.is_empty() {
                    details class="lid" {
                        summary { "What is expected of its mulch, and why" }
                        dl class="facts" { @for (name, value) in &sheet.mulch { dt { (name) } dd { (value) } } }
                    }
                }
                h2 { "Soak times" }
                p { (sheet.soak_trend) }
                @if let Some(soaks) = &sheet.soaks { (folded_on_phones("Each time that water stood", &scatter::scatter(soaks))) }
            }).markup())
            (part("timeline", &timeline::timeline(&sheet.timeline, units)).markup())
        }
        (part("sensors", &system::sensors(&sheet.system.0, &sheet.sensors)).markup())
        (part("past", &past(sheet)).markup())
    }
}

/// What was done at a basin and what was wrong with it.
fn past(sheet: &BasinPage) -> Markup {
    let system = &sheet.system.0;
    html! {
        h2 id="past" { "What was done here" }
        @if sheet.past_work.is_empty() { p { "Nothing was written down about this basin yet." } }
        @else {
            ul class="past" {
                @for it in &sheet.past_work {
                    li { a class="target" href=(it.page) { (it.says) ", " (it.at.words) } " " span class="when" { "by " (it.by) } }
                }
            }
        }
        p { a class="target" href={ "/systems/" (system) "/services" } { "All that was done at " (sheet.system.1) } }
        h2 { "Alerts that are over" }
        @if sheet.past_alerts.is_empty() { p { "None about this basin." } }
        @else {
            ul class="past" {
                @for it in &sheet.past_alerts {
                    li { a class="target" href={ "/alerts/" (it.no) } { (it.headline) ", raised " (it.opened.words) } " " span class="when" { (it.stage) } }
                }
            }
        }
        p { a class="target" href={ "/alerts?show=closed&system=" (system) } { "All closed alerts of " (sheet.system.1) } }
    }
}

/// The page around the `main` of a splitter.
pub fn splitter_page(chrome: &Chrome, sheet: &SplitterPage) -> String {
    let here = format!("/systems/{}/splitters/{}", sheet.system.0, sheet.id);
    let fragment = format!("/fragments{here}");
    let title = format!("Splitter {}", quoted(&sheet.id));
    let page = Page { title: &title, here: &here, fragment: &fragment, live: true };
    layout_with(chrome, &page, &[&assets::SCATTER], &splitter_page_main(sheet)).into_string()
}

/// What is inside `main` of a splitter's page.
pub fn splitter_page_main(sheet: &SplitterPage) -> Markup {
    let [a, b] = &sheet.sides;
    let now = sheet.level.as_ref();
    html! {
        (part("heading", &html! {
            (trail(&sheet.system))
            h1 { "Splitter " (quoted(&sheet.id)) }
            (mark::today(&sheet.today))
            div class="split" {
                svg viewBox="0 0 60 24" width="240" height="96" role="img" aria-label={ "Split now: " (level::split(now, &sheet.sides)) } {
                    (level::level(now, !sheet.findings.is_empty(), 30.0, 12.0))
                }
                p class="big" { (level::split(now, &sheet.sides)) }
            }
            @if let Some(why) = &sheet.unknown { p { (why) } }
            @if let Some(now) = now { p { (level::sentence(now, a, b)) } }
            @if let Some(says) = &sheet.off { p class="check" { (says) } }
            @for (words, page) in &sheet.shifted_by {
                p class="check" { a href=(page) { (words) } ": that is thought to shift the split, and the splitter itself to be level." }
            }
            (write_down(&sheet.system.0, "splitter", &sheet.id))
        }).markup())
        @if !sheet.findings.is_empty() { (part("findings", &findings(&sheet.findings)).markup()) }
        (part("balance", &html! {
            h2 { "Dose by dose" }
            @if sheet.balance.points.is_empty() { p { "No dose told it in half a year." } }
            @else { (scatter::scatter(&sheet.balance)) p class="key" { "Dots: what each dose gave to side a. Plain line: the design. Dashed lines: beyond these somebody should come. Doses that rain touched are left out." } }
        }).markup())
    }
}

/// Leads to the form for what was found and done at this part.
fn write_down(system: &str, kind: &str, id: &str) -> Markup {
    html! { p { a class="target" href={ "/systems/" (system) "/record?at=" (kind) ":" (id) } { "Write down what you found and did" } } }
}
