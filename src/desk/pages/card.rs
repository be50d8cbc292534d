//! One system on the first page.

use maud::{Markup, html};

use super::basin::Leads;
use super::{basin, finding, mark};
use crate::desk::sheet::{FindingSheet, Need, SystemCard, Urgency};
use crate::desk::words;

/// Findings shown beside those that are seen at once; the system's page has them all.
const MORE: usize = 4;

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
                    Some(at) => {
                        "Last heard " (mark::time(at)) "."
                        @if let Some(says) = words::partly_heard(card) { " " (says) " " a class="target" href={ (page) "#connect" } { "How to connect the others" } }
                    }
                    None => { "Nothing has been heard from its sensors yet. " a class="target" href={ (page) "#connect" } { "How to connect them" } }
                }
            }
            @if let Some(says) = &card.muted { p class="check" { (words::capitalised(says)) ". Nobody is told of anything here meanwhile." } }
            @let (first, rest) = parted(card);
            (findings(first, &page))
            @let due_first = card.urgency == Urgency::Now || card.findings.is_empty();
            @if due_first { (due(card)) }
            @if let Some(within) = folded(card, rest.len(), !due_first, detail) {
                details class="fold" open {
                    summary { (within) span class="unseen" { " of " (card.name) } }
                    (findings(&rest[..rest.len().min(MORE)], &page))
                    @if let Some(beyond) = rest.len().checked_sub(MORE).filter(|beyond| *beyond > 0) {
                        p { a class="target" href=(page) { "And " (words::count(beyond)) " more" span class="unseen" { " at " (card.name) } } }
                    }
                    @if !due_first { (due(card)) }
                    @if detail == Detail::Whole { (basin::drain(card, Leads::Basins)) }
                }
            }
        }
    }
}

/// The findings that are seen at once and those that a phone folds away: all that call somebody now, else the first.
fn parted(card: &SystemCard) -> (&[FindingSheet], &[FindingSheet]) {
    let urgent = card.findings.iter().take_while(|open| open.urgency == Urgency::Now).count();
    card.findings.split_at(urgent.max(1).min(card.findings.len()))
}

fn findings(findings: &[FindingSheet], page: &str) -> Markup {
    html! {
        @if !findings.is_empty() { ol class="findings" { @for open in findings { (finding::brief(open, page)) } } }
    }
}

fn due(card: &SystemCard) -> Markup {
    html! {
        @if let Some(due) = &card.due {
            p class="due" { a href={ "/tasks?system=" (card.id) } { b { (due.title) } } ", " (due.due) "." }
        }
    }
}

/// What is folded away on a phone, in words; none if nothing is.
fn folded(card: &SystemCard, findings: usize, due: bool, detail: Detail) -> Option<String> {
    let mut parts = Vec::new();
    match findings {
        0 => {}
        1 => parts.push("one more finding".to_owned()),
        more => parts.push(format!("{} more findings", words::count(more))),
    }
    if due && card.due.is_some() {
        parts.push("planned work".to_owned());
    }
    if detail == Detail::Whole {
        parts.push("basins and readings".to_owned());
    }
    (!parts.is_empty()).then(|| words::capitalised(&parts.join(", ")))
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
            @else if let Some((heard, all)) = card.partly_heard() { ", " (heard) " of " (all) " heard" }
        }
    }
}
