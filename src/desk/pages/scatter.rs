//! Single observations over time, as dots.

use maud::{Markup, html};

use super::timeline::LAST_TICK;
use crate::desk::sheet::{Mark, MarkKind, Scatter, Tick};
use crate::desk::words;

/// Height, px.
const HEIGHT: f64 = 180.0;
/// Height of the line below with the names of times, px.
const NAMES: f64 = 22.0;
/// Width of the margin with the names of heights, px: room for `17.5 h`.
const MARGIN: f64 = 52.0;
/// Half the height of a letter, px.
const HALF_LETTER: f64 = 4.5;
/// Marks that lie closer than this have their numbers in different rows, of which there are so many.
const CLOSE: f64 = 0.06;
const NUMBER_ROWS: usize = 4;
/// Room that the words of a tick take in the narrower of two columns, as a part of its width.
const WORDS_WIDE: f64 = 0.12;
/// Observations that the list names at most, the newest.
const LISTED: usize = 100;

/// The drawing; what it says in sum stands beside it in words, and single observations in the list below.
pub(super) fn scatter(sheet: &Scatter) -> Markup {
    html! {
        p class="key" { (sheet.words) }
        figure class="scatter" {
            div class="plot" { (heights(sheet)) (dots(sheet)) }
            p class="told" role="status" aria-live="polite" { "Tap a dot, or point at it, to read it." }
        }
        (legend(&sheet.marks))
        (list(sheet))
    }
}

fn across(x: f64) -> String {
    format!("{:.2}%", x * 100.0)
}

fn down(height: f64) -> f64 {
    HEIGHT - height.clamp(0.0, 1.0) * HEIGHT
}

/// The names of the guides, in the margin, so that they lie on no dot.
fn heights(sheet: &Scatter) -> Markup {
    html! {
        svg class="heights" width=(MARGIN) height=(HEIGHT + NAMES) aria-hidden="true" {
            @for (height, words, _) in &sheet.guides {
                @let y = (down(*height) + HALF_LETTER).clamp(2.0 * HALF_LETTER + 2.0, HEIGHT);
                text x=(MARGIN - 5.0) y=(format!("{y:.1}")) { (words) }
            }
        }
    }
}

fn dots(sheet: &Scatter) -> Markup {
    let y = |height: f64| format!("{:.1}", down(height));
    html! {
        svg class="dots" height=(HEIGHT + NAMES) role="img" aria-label=(sheet.words) {
            @for (tick, has_room) in sheet.ticks.iter().zip(rooms(&sheet.ticks)) {
                line class="tick" x1=(across(tick.x)) x2=(across(tick.x)) y1="0" y2=(HEIGHT) {}
                @if has_room { text class=[tick.minor.then_some("minor")] x=(across(tick.x)) y=(HEIGHT + 16.0) dx="3" { (tick.words) } }
            }
            @for (height, _, is_limit) in &sheet.guides {
                line class=(if *is_limit { "limit" } else { "guide" }) x1="0" x2="100%" y1=(y(*height)) y2=(y(*height)) {}
            }
            @if let Some((left, right)) = sheet.trend { line class="trend" x1="0" x2="100%" y1=(y(left)) y2=(y(right)) {} }
            @for (at, height, words) in &sheet.points {
                circle cx=(across(*at)) cy=(y(*height)) r="4" { title { (words) } }
            }
            @for (no, (mark, row)) in sheet.marks.iter().zip(rows(&sheet.marks)).enumerate() {
                line class={ "mark " (class(mark.kind)) } x1=(across(mark.at)) x2=(across(mark.at)) y1="0" y2=(HEIGHT) { title { (mark.words) } }
                text class=(if mark.at < 0.9 { "mark" } else { "mark before" }) x=(across(mark.at)) y=(13 + 14 * row) dx=(if mark.at < 0.9 { "4" } else { "-4" }) { (no + 1) }
            }
        }
    }
}

/// Which ticks have room for their words: those that lie far enough after the one that has them last.
fn rooms(ticks: &[Tick]) -> Vec<bool> {
    let mut last = f64::NEG_INFINITY;
    let mut has_room = |tick: &Tick| {
        let has_room = tick.x < LAST_TICK && tick.x - last >= WORDS_WIDE;
        if has_room {
            last = tick.x;
        }
        has_room
    };
    ticks.iter().map(&mut has_room).collect()
}

const fn class(kind: MarkKind) -> &'static str {
    match kind {
        MarkKind::Change => "change",
        MarkKind::Work => "work",
    }
}

/// The row of each mark's number: of marks that lie close together, each has its own.
fn rows(marks: &[Mark]) -> Vec<usize> {
    let mut rows: Vec<usize> = Vec::new();
    for (no, mark) in marks.iter().enumerate() {
        let is_close = no > 0 && mark.at - marks[no - 1].at < CLOSE;
        rows.push(if is_close { (rows[no - 1] + 1) % NUMBER_ROWS } else { 0 });
    }
    rows
}

/// What the lines down stand for.
fn legend(marks: &[Mark]) -> Markup {
    let has = |kind| marks.iter().any(|mark| mark.kind == kind);
    html! {
        @if !marks.is_empty() {
            p class="key" {
                @if has(MarkKind::Change) { "Plain line down: when it changed. " }
                @if has(MarkKind::Work) { "Line of dashes and dots down: when somebody worked on it or tested it. " }
            }
            ol class="key marks" {
                @for mark in marks { li { @match &mark.page { Some(page) => a class="target" href=(page) { (mark.words) }, None => (mark.words) } } }
            }
        }
    }
}

/// The observations in words, newest first.
fn list(sheet: &Scatter) -> Markup {
    let shown = sheet.points.len().min(LISTED);
    html! {
        @if shown > 0 {
            details class="table" {
                summary {
                    @if shown < sheet.points.len() { "The last " (words::count(shown)) " as a list" } @else { "The same as a list" }
                    span class="unseen" { ": " (sheet.words) }
                }
                div class="scroll listed" tabindex="0" role="region" aria-label=(sheet.words) {
                    ol { @for (_, _, words) in sheet.points.iter().rev().take(LISTED) { li { (words) } } }
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_of_ticks_lie_apart() {
        let tick = |x: f64| Tick { x, words: "2 Nov".to_owned(), minor: false };
        let weeks: Vec<Tick> = (0..13).map(|week| tick(f64::from(week) / 13.0)).collect();
        let told: Vec<usize> =
            rooms(&weeks).iter().enumerate().filter(|(_, has)| **has).map(|(at, _)| at).collect();
        assert_eq!(
            told,
            [0, 2, 4, 6, 8, 10, 12].into_iter().filter(|at| weeks[*at].x < LAST_TICK).collect::<Vec<_>>()
        );
        assert_eq!(rooms(&[tick(0.1), tick(0.5)]), [true, true]);
    }
}
