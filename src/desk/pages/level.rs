//! A splitter as a small spirit level: side a left, side b right, the bubble towards the side that gets too
//! little, as it would rise in the yard.

use maud::{Markup, html};

use crate::desk::sheet::{Level, LevelBasis};
use crate::desk::words;

/// Half the length of the tube and half its height, drawing units.
const HALF: f64 = 23.0;
const THICK: f64 = 7.0;
/// Room that the level takes on each side of its middle, drawing units.
pub(super) const HALF_SIZE: (f64, f64) = (HALF + 1.0, THICK + 1.0);
/// The smallest that it is drawn, as a part of its size: the bubble can still be told from the middle.
pub(super) const SMALLEST: f64 = 0.55;
/// A split that is off by this much moves the bubble to the end of the tube.
const FULL: f64 = 0.3;

/// The level with its middle at `x`, `y` of the drawing it is part of.
pub(super) fn level(level: Option<&Level>, troubled: bool, x: f64, y: f64) -> Markup {
    let place = |share: f64, level: &Level| {
        let off = ((share - level.design_a) / FULL).clamp(-1.0, 1.0);
        x + off * (HALF - THICK)
    };
    let class = if troubled { "level off" } else { "level" };
    html! {
        g class=(class) {
            rect class="tube" x=(one(x - HALF)) y=(one(y - THICK)) width=(2.0 * HALF) height=(2.0 * THICK) rx=(THICK) {}
            @if let Some(level) = level {
                @if let Some((low, high)) = level.interval {
                    @let (low, high) = (place(low, level), place(high, level));
                    rect class="doubt" x=(one(low - 6.0)) y=(one(y - 4.5)) width=(one(high - low + 12.0)) height="9" rx="4.5" {}
                }
                ellipse class="bubble" cx=(one(place(level.share_a, level))) cy=(one(y)) rx="6" ry="4.5" {}
            }
            path class="middle" d={ "M" (one(x - 8.0)) " " (one(y - THICK)) "v" (2.0 * THICK) "M" (one(x + 8.0)) " " (one(y - THICK)) "v" (2.0 * THICK) } {}
        }
    }
}

fn one(value: f64) -> String {
    format!("{value:.1}")
}

/// The split now, with what sides a and b feed: `plum 62 : pear 38`, or that it is not known yet.
pub(super) fn split(level: Option<&Level>, sides: &[String; 2]) -> String {
    level.map_or_else(|| "not known".to_owned(), |level| words::split(level.share_a, sides))
}

/// What a split rests on: `of the last 30 days`, `since it changed`.
pub(super) const fn period(level: &Level) -> &'static str {
    match level.basis {
        LevelBasis::Finding => "since it changed",
        LevelBasis::Doses(_) => "of the last 30 days",
    }
}

/// The interval in whole percents, unless it is narrower than they tell.
fn told_interval(level: &Level) -> Option<[String; 2]> {
    let (low, high) = level.interval?;
    Some([low, high].map(words::percent)).filter(|[low, high]| low != high)
}

/// The same as a sentence; `a` and `b` are what the sides feed.
pub(super) fn sentence(level: &Level, a: &str, b: &str) -> Markup {
    html! {
        "Side a, to " (a) ", gets " b { (words::percent(level.share_a)) } " of each dose"
        @if let Some([low, high]) = told_interval(level) {
            " (most likely between " (low) " and " (high) ")"
        }
        "; side b, to "
        (b) ", gets " b { (words::percent(1.0 - level.share_a)) } ". The design gives side a "
        (words::percent(level.design_a)) ". "
        @match level.basis {
            LevelBasis::Finding => { "This fits best to all doses since the split changed; single ones, below, scatter about it." }
            LevelBasis::Doses(doses) => { "This is the middle of the last " (words::count(doses)) " doses." }
        }
    }
}
