//! Labels for the lids of valve boxes: each opens the page of its basin or splitter.
//!
//! QR codes by ISO/IEC 18004 at error correction level Q, which still reads with about a quarter of the code under
//! dirt. The quiet zone is four modules, as the standard asks for.

use std::fmt::Write as _;

use maud::{Markup, html};
use qrcode::types::Color;
use qrcode::{EcLevel, QrCode};

use super::gather::{along_the_water, short_address, splitters};
use crate::advice::place_title;
use crate::desk::assets;
use crate::desk::pages::{Page, layout_with};
use crate::desk::sheet::Chrome;
use crate::model::{Node, Subject, System};

/// Empty modules around a code.
const QUIET: usize = 4;

/// The sheet of labels of `system`, whose pages lie at `base`.
pub(super) fn labels(chrome: &Chrome, system: &System, base: &str) -> String {
    let here = format!("/systems/{}/labels", system.id);
    let parts: Vec<Subject> = along_the_water(system)
        .into_iter()
        .filter(|subject| matches!(subject, Subject::Basin(_) | Subject::Splitter(_)))
        .collect();
    let is_local = ["127.0.0.1", "localhost", "[::1]", "0.0.0.0"].iter().any(|host| base.contains(host));
    let main = html! {
        p class="trail" { a href={ "/systems/" (system.id) } { (system.name) } }
        h1 class="screen" { "Labels for the lids" }
        @if is_local {
            p class="problem" {
                "These codes lead to " (base) ", which no phone in the yard can open. Set " code { "pages" } " under "
                code { "[alerts]" } " to the address of these pages, and print them then."
            }
        }
        p class="hint screen" { "Print on weatherproof labels at full size, 90 mm wide, and stick each under its lid. A code still reads with about a quarter of it covered (error correction level Q)." }
        ul class="labels" { @for subject in &parts { li { (label(system, subject, base)) } } }
    };
    let page = Page { title: "Labels", here: &here, fragment: "", live: false };
    layout_with(chrome, &page, &[&assets::FORMS, &assets::SHEET_STYLE], &main).into_string()
}

fn label(system: &System, subject: &Subject, base: &str) -> Markup {
    let address = format!("{base}{}", short_address(system.id.as_str(), subject));
    html! {
        @match code(&address) {
            Some(code) => (code),
            None => p { "The address is too long for a code: " (address) },
        }
        div {
            p class="name" { (place_title(system, subject)) }
            p { (system.name) }
            p class="id" { (subject.key().replace(':', " ")) }
            p class="id" { (feeds(system, subject)) }
        }
    }
}

/// What a splitter feeds, for whoever stands before it.
fn feeds(system: &System, subject: &Subject) -> String {
    let name = |node: Node| match node {
        Node::Basin(basin) => system.basin(basin).id.to_string(),
        Node::Splitter(splitter) => system.splitter(splitter).id.to_string(),
    };
    let Subject::Splitter(id) = subject else { return String::new() };
    let ix = splitters(system).find(|ix| system.splitter(*ix).id == *id);
    ix.map_or_else(String::new, |ix| {
        let [a, b] = system.tree().feeds(ix).map(name);
        format!("a: {a}, b: {b}")
    })
}

/// The code as a drawing, one run of dark modules a stroke.
fn code(text: &str) -> Option<Markup> {
    let code = QrCode::with_error_correction_level(text, EcLevel::Q).ok()?;
    let width = code.width();
    let mut path = String::new();
    for (y, row) in code.to_colors().chunks(width).enumerate() {
        let mut x = 0;
        for run in row.chunk_by(|a, b| a == b) {
            if run[0] == Color::Dark {
                let _ = write!(path, "M{} {}h{}v1h-{}z", x + QUIET, y + QUIET, run.len(), run.len());
            }
            x += run.len();
        }
    }
    let side = width + 2 * QUIET;
    Some(html! {
        svg class="code" viewBox={ "0 0 " (side) " " (side) } width="150" height="150" role="img" aria-label=(text) {
            rect class="paper" width=(side) height=(side) {}
            path class="dark" d=(path) {}
        }
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A version 2 symbol has 25 modules a side (ISO/IEC 18004, table 1); its upper left finder pattern begins with a
    /// dark run of 7.
    #[test]
    fn a_code_is_drawn_with_its_quiet_zone_and_finder_pattern() {
        let drawn = code("https://yard.example").unwrap().into_string();
        assert!(drawn.contains("viewBox=\"0 0 33 33\""), "{drawn}");
        assert!(drawn.contains("d=\"M4 4h7v1h-7z"), "{drawn}");
        assert!(code(&"x".repeat(4000)).is_none());
    }
}
