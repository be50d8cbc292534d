//! The pages of records.

use maud::{Markup, html};

use super::form::{Asked, form, title};
use super::told::Told;
use crate::desk::assets;
use crate::desk::pages::{Page, layout_with, time};
use crate::desk::sheet::Chrome;
use crate::desk::words;
use crate::ledger::PHOTOS;

/// Records of a system or a property.
#[derive(Debug)]
pub(super) struct ListSheet {
    /// Whose, and the page about it.
    pub(super) of: (String, String),
    /// This page's address.
    pub(super) here: String,
    pub(super) records: Vec<Told>,
    /// Where older ones are.
    pub(super) older: Option<String>,
    /// Where to write one: address and words.
    pub(super) new: Vec<(String, String)>,
}

/// One record.
#[derive(Debug)]
pub(super) struct StorySheet {
    /// Oldest first.
    pub(super) versions: Vec<Told>,
    /// Numbers of its photographs.
    pub(super) photos: Vec<u32>,
    /// Alerts that it ended.
    pub(super) ended: Vec<u64>,
    /// What the engine keeps although the last correction says otherwise.
    pub(super) beyond_recall: Vec<String>,
    pub(super) problem: Option<String>,
    /// It was written down just now.
    pub(super) saved: Option<Saved>,
}

/// What to tell whoever has just written a record down.
#[derive(Debug)]
pub(super) struct Saved {
    /// The tasks are older than the record and are being worked out anew.
    pub(super) is_ahead: bool,
    /// What is to prove the work: words and address.
    pub(super) proofs: Vec<(String, String)>,
}

fn page(chrome: &Chrome, title: &str, here: &str, main: &Markup) -> String {
    let page = Page { title, here, fragment: "", live: false };
    layout_with(chrome, &page, &[&assets::FORMS, &assets::RECORD_STYLE, &assets::RECORD], main).into_string()
}

fn csrf(chrome: &Chrome) -> Markup {
    html! { @if let Some(who) = &chrome.who { input type="hidden" name="csrf" value=(who.csrf); } }
}

fn problem(problem: Option<&String>) -> Markup {
    html! { @if let Some(problem) = problem { p class="problem" role="alert" { (words::capitalised(problem)) "." } } }
}

/// The form on which a new record is written.
pub(super) fn new(chrome: &Chrome, asked: &Asked<'_>, key: &str, wrong: Option<&String>) -> String {
    let place = title(asked.system, asked.subject);
    let (id, here) =
        (&asked.system.id, format!("/systems/{}/record?at={}", asked.system.id, asked.subject.key()));
    let main = html! {
        p class="trail" { a href="/" { "All systems" } " › " a href={ "/systems/" (id) } { (asked.system.name) } }
        h1 { "Found and done: " (place) }
        (problem(wrong))
        form class="form record" method="post" action={ "/systems/" (id) "/record" } data-writer=[chrome.who.as_ref().map(|who| &who.name)] {
            (csrf(chrome))
            input type="hidden" name="key" value=(key);
            (form(asked))
            (photo_field("new"))
            p { button type="submit" { "Write it down" } }
        }
    };
    page(chrome, &format!("Found and done: {place}"), &here, &main)
}

/// The field for photographs; the script shows it, which also makes them small and sends them.
pub(in crate::desk) fn photo_field(mark: &str) -> Markup {
    html! {
        div class="field photos" hidden {
            label for={ (mark) "-photos" } { "Photographs, at most " (words::count(PHOTOS)) }
            input id={ (mark) "-photos" } type="file" accept="image/*" multiple data-most=(PHOTOS);
            p class="hint" { "Where and with what they were taken is not kept." }
        }
    }
}

/// The list.
pub(super) fn list(chrome: &Chrome, sheet: &ListSheet) -> String {
    let title = format!("Service record of {}", sheet.of.0);
    let may_write = chrome.who.as_ref().is_some_and(|who| who.attends);
    let main = html! {
        p class="trail" { a href=(sheet.of.1) { (sheet.of.0) } }
        h1 { "Service record" }
        @if may_write && !sheet.new.is_empty() {
            details class="write" {
                summary { "Write down what was found and done" }
                ul class="parts" { @for (address, words) in &sheet.new { li { a href=(address) { (words) } } } }
            }
        }
        @if sheet.records.is_empty() { p { "Nothing was written down yet." } }
        ol class="records" { @for record in &sheet.records { li { (entry(record)) } } }
        @if let Some(older) = &sheet.older { p { a href=(older) { "Older records" } } }
        p { a href={ (sheet.here) ".csv" } download { "As a table (CSV)" } }
    };
    page(chrome, &title, &sheet.here, &main)
}

/// A record in a list.
pub(in crate::desk) fn entry(record: &Told) -> Markup {
    html! {
        p class="name" { a href={ "/services/" (record.key) } { (record.place) } }
        (body(record))
        p class="when" {
            (time(&record.at)) ", by " (record.by)
            @if record.version > 1 { ", corrected" }
            @match record.photos { 0 => {} 1 => ", one photograph", many => { ", " (words::count(many as usize)) " photographs" } }
        }
    }
}

fn body(record: &Told) -> Markup {
    html! {
        p { b { (record.work) } "." }
        @if !record.found.is_empty() {
            dl class="facts" { @for (name, value) in &record.found { dt { (name) } dd { (value) } } }
        }
        @if !record.note.is_empty() { p class="note" { (record.note) } }
    }
}

/// One record with its past and, for those who may, the form that corrects it.
pub(super) fn story(chrome: &Chrome, sheet: &StorySheet, asked: &Asked<'_>) -> String {
    let Some(last) = sheet.versions.last() else { return String::new() };
    let here = format!("/services/{}", last.key);
    let may_write = chrome.who.as_ref().is_some_and(|who| who.attends) && !last.withdrawn;
    let main = html! {
        p class="trail" {
            a href={ "/systems/" (last.system.0) } { (last.system.1) } " › "
            a href={ "/systems/" (last.system.0) "/services" } { "Service record" }
        }
        h1 { (last.place) }
        (problem(sheet.problem.as_ref()))
        @if let Some(saved) = &sheet.saved { (saved_words(saved, &last.system.0)) }
        @if last.withdrawn { p class="problem" { "Withdrawn by " (last.by) ": " (last.reason) } }
        article class={ "record" @if last.withdrawn { " over" } } {
            (body(last))
            p class="when" { (time(&last.at)) }
        }
        @if !sheet.photos.is_empty() {
            div class="pictures" {
                @for no in &sheet.photos {
                    @let address = format!("{here}/photos/{no}");
                    a href=(address) { img src=(address) alt={ "Photograph " (no) " of " (last.place) } loading="lazy" width="240" height="180"; }
                }
            }
        }
        @if !sheet.ended.is_empty() {
            p { "It ended " @for (at, alert) in sheet.ended.iter().enumerate() { @if at > 0 { ", " } a href={ "/alerts/" (alert) } { "alert " (alert) } } "." }
        }
        @if !sheet.beyond_recall.is_empty() {
            div class="hint" {
                p { "What the last change no longer changes:" }
                ul { @for says in &sheet.beyond_recall { li { (words::capitalised(says)) "." } } }
            }
        }
        @if may_write { (correct(chrome, last, asked, &here)) }
        section {
            h2 { "Who wrote what" }
            ol class="past" {
                @for version in &sheet.versions {
                    li {
                        b { (version.by) } ": "
                        @if version.withdrawn { "withdrew it" } @else if version.version == 1 { "wrote it" } @else { "corrected it" }
                        @if !version.reason.is_empty() { ", because " (version.reason) }
                        " " span class="when" { (time(&version.written)) }
                        @if sheet.versions.len() > 1 && !version.withdrawn {
                            details { summary { "What it said" } (body(version)) p class="when" { "Finished " (time(&version.at)) } }
                        }
                    }
                }
            }
        }
    };
    page(chrome, &last.place, &here, &main)
}

/// That it is kept, and what became due by it.
fn saved_words(saved: &Saved, system: &str) -> Markup {
    html! {
        div role="status" {
            p { b { "It is saved." } @if saved.is_ahead { " What it makes due is being worked out: " a class="target" href={ "/tasks?system=" (system) } { "the tasks of this system" } " show it in a moment." } }
            @if !saved.proofs.is_empty() {
                p { "Due after it:" }
                ul { @for (words, address) in &saved.proofs { li { a class="target" href=(address) { (words) } } } }
            }
        }
    }
}

fn correct(chrome: &Chrome, last: &Told, asked: &Asked<'_>, here: &str) -> Markup {
    let reason = |mark: &str| {
        html! {
            div class="field" {
                label for={ (mark) "-reason" } { "Why" }
                input id={ (mark) "-reason" } name="reason" required maxlength="500" autocomplete="off";
            }
        }
    };
    html! {
        details class="write" {
            summary { "Correct it" }
            form class="form" method="post" action=(here) {
                (csrf(chrome))
                input type="hidden" name="replaces" value=(last.version);
                (form(asked))
                (reason("correct"))
                p class="hint" {
                    "What was written before stays readable. Work added here is told to the engine; what it has \
                     heard already it does not forget."
                }
                p { button name="act" value="correct" { "Correct it" } }
            }
        }
        details class="write" {
            summary { "Withdraw it" }
            form class="form" method="post" action=(here) {
                (csrf(chrome))
                input type="hidden" name="replaces" value=(last.version);
                (reason("withdraw"))
                p { button class="plain" name="act" value="withdraw" { "It should not have been written" } }
            }
        }
    }
}
