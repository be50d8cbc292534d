//! The first page: every property with its systems, most urgent first.

use maud::{Markup, html};

use super::card::{self, Detail};
use super::layout::{Page, layout};
use super::part::Part;
use crate::desk::sheet::{Chrome, Counts, SystemCard};
use crate::desk::words;
use crate::model::Id;

/// The page around its `main`.
pub fn first(chrome: &Chrome, main: &Markup) -> String {
    let page = Page { title: "Systems", here: "/", fragment: "/fragments/first", live: true };
    layout(chrome, &page, main).into_string()
}

/// The state of all systems in one sentence.
pub fn first_summary(counts: &Counts) -> Part {
    let summary = words::summary(counts);
    Part::new("summary", |print| {
        html! { h1 class="summary" data-part="summary" data-print=(print) data-say { (summary) } }
    })
}

/// One system.
pub fn first_card(card: &SystemCard, detail: Detail) -> Part {
    Part::new(format!("s-{}", card.id), |print| card::card(card, detail, print))
}

/// What is inside `main`: the summary, then properties (id and name) with their systems' cards.
pub fn first_main<'a, Cards>(
    summary: &Part,
    properties: impl IntoIterator<Item = (&'a Id, &'a str, Cards)>,
) -> Markup
where
    Cards: IntoIterator<Item = &'a Part>,
{
    html! {
        (summary.markup())
        @for (id, name, cards) in properties {
            section class="property" aria-labelledby={ "p-" (id) } {
                h2 id={ "p-" (id) } { (name) }
                div class="systems" { @for card in cards { (card.markup()) } }
            }
        }
    }
}
