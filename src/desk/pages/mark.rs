//! Signs with their words: a sign never stands alone, and neither does a colour.

use maud::{Markup, html};

use crate::desk::sheet::{Moment, Urgency};

/// How soon, as a sign and a word.
pub(in crate::desk) fn urgency(urgency: Urgency) -> Markup {
    html! { span class={ "urgency " (urgency.class()) } { (sign(urgency)) " " (urgency.words()) } }
}

/// The sign alone, for places where the word stands beside it.
pub(super) fn sign(urgency: Urgency) -> Markup {
    html! {
        svg class="sign" viewBox="0 0 20 20" aria-hidden="true" {
            @match urgency {
                Urgency::Now => {
                    path class="solid" d="M10 1C13 6 17 9 17 13a7 6.5 0 0 1-14 0C3 9 7 6 10 1Z" {}
                    path class="cut" d="M10 7v5M10 14.6v1.6" {}
                }
                Urgency::Soon => {
                    path class="solid" d="M3.2 12.5h13.6A7 6.5 0 0 1 3.2 12.5Z" {}
                    path d="M10 1C13 6 17 9 17 13a7 6.5 0 0 1-14 0C3 9 7 6 10 1Z" {}
                }
                Urgency::NextVisit => {
                    path d="M4 2h9l3 3v13H4ZM7 8h6M7 11h6M7 14h3" {}
                }
                Urgency::Work => {
                    path d="M10 2v9M6 2h8M7 11h6l1 7H6Z" {}
                }
                Urgency::Unheard => {
                    path d="M3 10h2M9 10h2M15 10h2" {}
                }
                Urgency::Fine => {
                    path d="M3 11l5 5L17 4" {}
                }
            }
        }
    }
}

/// The day in a yard, and whose clock the times on its page are told by.
pub(super) fn today(says: &str) -> Markup {
    html! { p class="heard" { (says) "." } }
}

/// A time in words; the script adds how long ago that was.
pub(in crate::desk) fn time(moment: &Moment) -> Markup {
    html! { time datetime=(moment.at) data-age { (moment.words) } }
}
