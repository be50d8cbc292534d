//! What every page has around its own content.

use maud::{DOCTYPE, Markup, html};

use super::{basin, mark};
use crate::desk::assets;
use crate::desk::sheet::Chrome;

/// What distinguishes a page.
pub(super) struct Page<'a> {
    /// Its title.
    pub(super) title: &'a str,
    /// Its address, to mark it in the navigation.
    pub(super) here: &'a str,
    /// Where to fetch its `main` again.
    pub(super) fragment: &'a str,
    /// It changes while it is open.
    pub(super) live: bool,
}

const PLACES: [(&str, &str); 2] = [("/", "Systems"), ("/heard", "Heard and refused")];

/// The whole document around `main`.
pub(super) fn layout(chrome: &Chrome, page: &Page<'_>, main: &Markup) -> Markup {
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
            nav aria-label="Pages" {
                ul {
                    @for (address, name) in PLACES.into_iter().filter(|(at, _)| *at == "/" || chrome.sees_everything) {
                        li { a href=(address) aria-current=[(address == page.here).then_some("page")] { (name) } }
                    }
                }
            }
            @if let Some(banner) = &chrome.banner { p class="banner" { (banner) } }
        }
    }
}

fn foot(chrome: &Chrome, page: &Page<'_>) -> Markup {
    html! {
        footer {
            p { "Broker: " span id="link" { (chrome.link_words()) } "." }
            @if let Some(as_of) = &chrome.as_of {
                p class="as-of" { "Drawn " (mark::time(as_of)) ". " a href=(page.here) { "Refresh" } }
            }
            p id="said" role="status" aria-live="polite" {}
        }
    }
}
