//! One system on the first page.

use maud::{Markup, html};

use super::{basin, finding, mark};
use crate::desk::sheet::{Need, SystemCard};
use crate::desk::words;

/// How much of a system the first page shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Detail {
    /// Findings and the drawn drain.
    Whole,
    /// Findings only.
    Brief,
    /// One line.
    Row,
}

/// The card, with its print for the live script.
pub(super) fn card(card: &SystemCard, detail: Detail, print: &str) -> Markup {
    let page = format!("/systems/{}", card.id);
    html! {
        article class={ "system " (card.urgency.class()) } data-part={ "s-" (card.id) } data-print=(print) {
            h3 { a href=(page) { (card.name) } " " (mark::urgency(card.urgency)) }
            p class="heard" {
                a class="target" href={ "/?property=" (card.property) } { (words::title(card.property.as_str())) } ". "
                @match &card.last_heard {
                    Some(at) => { "Last heard " (mark::time(at)) "." }
                    None => "Nothing was heard from this system yet.",
                }
            }
            @if !card.findings.is_empty() {
                ol class="findings" { @for open in &card.findings { (finding::brief(open, &page)) } }
            }
            @if let Some(due) = &card.due {
                p class="due" { b { (due.title) } ", " (due.due) ". " a class="target" href={ "/tasks?system=" (card.id) } { "What is to be done" } }
            }
            @if detail == Detail::Whole {
                details class="fold" open { summary { "Basins and readings" span class="unseen" { " of " (card.name) } } (basin::drain(card, false)) }
            }
        }
    }
}

/// One line: what it needs, where it needs something.
pub(super) fn row(card: &SystemCard) -> Markup {
    html! {
        li {
            a href={ "/systems/" (card.id) } { (card.name) }
            @if matches!(card.need(), Need::Now | Need::Coming) {
                ", " (words::title(card.property.as_str())) ": " b { (card.urgency.words()) }
                @if let Some(open) = card.findings.first() { ", " (open.headline) }
                @else if let Some(due) = &card.due { ", " (due.title) ", " (due.due) }
            }
        }
    }
}
