//! What every page has around its own content.

use maud::{DOCTYPE, Markup, html};

use super::{basin, mark};
use crate::desk::assets::{self, Asset};
use crate::desk::sheet::{Chrome, Who};

/// What distinguishes a page.
pub(in crate::desk) struct Page<'a> {
    /// Its title.
    pub(in crate::desk) title: &'a str,
    /// Its address, to mark it in the navigation.
    pub(in crate::desk) here: &'a str,
    /// Where to fetch its `main` again.
    pub(in crate::desk) fragment: &'a str,
    /// It changes while it is open.
    pub(in crate::desk) live: bool,
}

/// The whole document around `main`.
pub(super) fn layout(chrome: &Chrome, page: &Page<'_>, main: &Markup) -> Markup {
    layout_with(chrome, page, &[], main)
}

/// As [`layout`], with further styles and scripts.
pub(in crate::desk) fn layout_with(
    chrome: &Chrome,
    page: &Page<'_>,
    assets: &[&Asset],
    main: &Markup,
) -> Markup {
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                title { (page.title) " – Basinward" }
                link rel="icon" href=(assets::ICON.address()) type="image/svg+xml";
                link rel="stylesheet" href=(assets::STYLE.address());
                @for asset in assets { (asset.markup()) }
                @if let Some(who) = &chrome.who { meta name="csrf" content=(who.csrf); }
                @if page.live { script src=(assets::SCRIPT.address()) defer {} }
            }
            body data-fragment=[page.live.then_some(page.fragment)] data-stamp=[page.live.then_some(chrome.stamp)] {
                a class="skip" href="#main" { "Skip to the content" }
                (head(chrome, page))
                (basin::shapes())
                main id="main" tabindex="-1" { (main) }
                (foot(chrome, page))
            }
        }
    }
}

fn head(chrome: &Chrome, page: &Page<'_>) -> Markup {
    html! {
        header class="top" {
            p class="brand" { a href="/" { (assets::ICON.inline()) "Basinward" } }
            @if let Some(who) = &chrome.who { (nav(who, page)) }
            @if let Some(banner) = &chrome.banner { p class="banner" { (banner) } }
            @if let Some(who) = &chrome.who {
                p class="banner urgent" id="faulty" hidden[chrome.faulty.is_none()] {
                    span { @if let Some(faulty) = &chrome.faulty { (faulty) } }
                    @if who.plans { " " a class="target" href="/setup#faulty-files" { "What is wrong, and how to mend it" } }
                }
            }
            @if let Some(learning) = &chrome.learning { p class="banner" id="learning" { (learning) } }
        }
    }
}

/// The pages that are used daily, and the others: beside them, or under "More" where there is no room.
fn nav(who: &Who, page: &Page<'_>) -> Markup {
    let here = page.here.split('?').next();
    let link = |(address, name): &(&str, &str)| {
        html! { a href=(address) aria-current=[(Some(*address) == here).then_some("page")] { (name) } }
    };
    let daily = [("/", "Systems"), ("/alerts", "Alerts"), ("/tasks", "Tasks"), ("/visits", "Visits")];
    let others = [
        (true, ("/floods", "Floods")),
        (who.sees_everything, ("/heard", "Sensor messages")),
        (who.plans, ("/setup", "New system")),
        (who.governs, ("/people", "People")),
        (true, ("/account", if who.is_person { who.name.as_str() } else { "Account" })),
    ];
    let others: Vec<_> = others.into_iter().filter_map(|(open, place)| open.then_some(place)).collect();
    html! {
        nav aria-label="Pages" {
            ul {
                @for place in &daily { li { (link(place)) } }
                @for place in &others { li class="wide" { (link(place)) } }
                li class="narrow" { details { summary { "More" } ul { @for place in &others { li { (link(place)) } } } } }
            }
        }
    }
}

fn foot(chrome: &Chrome, page: &Page<'_>) -> Markup {
    html! {
        footer {
            @if !chrome.link.is_empty() { p { "Sensor messages: " span id="link" { (chrome.link_words()) } "." } }
            @if let Some(as_of) = &chrome.as_of {
                p class="as-of" { "Drawn " (mark::time(as_of)) ". " a href=(page.here) { "Refresh" } }
            }
            p {
                "Units: "
                @for (name, words) in [("metric", "metric"), ("us", "US")] {
                    a href={ "/units?to=" (name) "&back=" (encoded(page.here)) } { (words) } " "
                }
            }
            p id="said" role="status" aria-live="polite" {}
        }
    }
}

/// An address as the value of a parameter.
fn encoded(address: &str) -> String {
    address.replace('%', "%25").replace('&', "%26").replace('#', "%23").replace('+', "%2B")
}
