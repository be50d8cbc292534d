//! The page of maintenance mode.

use maud::{Markup, html};

use super::work::REASON_CHARS;
use crate::desk::assets;
use crate::desk::pages::{Page, layout_with};
use crate::desk::sheet::Chrome;
use crate::desk::words;
use crate::model::System;

/// What the form offers, hours.
const HOURS: [i64; 5] = [1, 2, 4, 8, 12];
/// What is chosen unless somebody chooses otherwise.
const USUAL_H: i64 = 2;

/// What the page shows.
#[derive(Debug)]
pub(super) struct MuteSheet<'a> {
    pub(super) system: &'a System,
    /// Who is at work, as a sentence.
    pub(super) muted: Option<String>,
    pub(super) problem: Option<&'a str>,
}

/// The whole page.
pub(super) fn page(chrome: &Chrome, sheet: &MuteSheet<'_>) -> String {
    let system = sheet.system;
    let here = format!("/systems/{}/mute", system.id);
    let attends = chrome.who.as_ref().is_some_and(|who| who.attends);
    let main = html! {
        p class="trail" { a href={ "/systems/" (system.id) } { (system.name) } }
        h1 { "Mute alerts while at work" }
        @if let Some(problem) = sheet.problem { p class="problem" role="alert" { (words::capitalised(problem)) } }
        @match &sheet.muted {
            Some(says) => {
                p class="check" { (says) "." }
                p { "Nobody is told of anything at this system until then. What still stands when the time is up is told." }
                @if attends { (form(chrome, &here, &html! { button name="act" value="unmute" { "The work is done: tell people again" } })) }
            }
            None => {
                p { "While you work, the sensors see what you do. For a while nobody is told of anything at this system; alerts open and close on the pages as ever. It ends by itself, and what still stands then is told." }
                p class="problem" { "Floods are not told either. Watch the water yourself, and turn the diverter to sewer before you open a line." }
                @if attends { (form(chrome, &here, &questions())) }
                @else { p { "You may look, but not do this." } }
            }
        }
    };
    let page = Page { title: "Mute alerts while at work", here: &here, fragment: "", live: false };
    layout_with(chrome, &page, &[&assets::FORMS], &main).into_string()
}

fn form(chrome: &Chrome, here: &str, inside: &Markup) -> Markup {
    html! {
        form method="post" action=(here) {
            @if let Some(who) = &chrome.who { input type="hidden" name="csrf" value=(who.csrf); }
            div class="acts" { (inside) }
        }
    }
}

fn questions() -> Markup {
    html! {
        label class="act" { "I am at work here for " select name="hours" {
            @for hours in HOURS {
                option value=(hours) selected[hours == USUAL_H] { @if hours == 1 { "1 hour" } @else { (hours) " hours" } }
            }
        } }
        label class="act" { "to " input type="text" name="reason" required maxlength=(REASON_CHARS) placeholder="clear the outlets" autocomplete="off"; }
        button name="act" value="mute" { "Mute alerts" }
    }
}
