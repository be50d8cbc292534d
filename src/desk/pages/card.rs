//! One system on the first page.

use maud::{Markup, html};

use super::{basin, finding, mark};
use crate::desk::sheet::SystemCard;

/// How much of a system the first page shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Detail {
    /// Findings and the drawn drain.
    Whole,
    /// Findings only.
    Brief,
}

/// The card, with its print for the live script.
pub(super) fn card(card: &SystemCard, detail: Detail, print: &str) -> Markup {
    let page = format!("/systems/{}", card.id);
    html! {
        article class={ "system " (card.urgency.class()) } data-part={ "s-" (card.id) } data-print=(print) {
            h3 { a href=(page) { (card.name) } " " (mark::urgency(card.urgency)) }
            @if !card.findings.is_empty() {
                ol class="findings" { @for open in &card.findings { (finding::brief(open, &page)) } }
            }
            @if detail == Detail::Whole { (basin::drain(card)) }
            p class="heard" {
                @match &card.last_heard {
                    Some(at) => { "Last heard " (mark::time(at)) "." }
                    None => "Nothing was heard from this system yet.",
                }
            }
        }
    }
}
