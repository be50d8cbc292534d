//! Single observations over time, as dots.

use maud::{Markup, html};

use super::timeline::LAST_TICK;
use crate::desk::sheet::Scatter;

/// Height, px.
const HEIGHT: f64 = 180.0;

/// The drawing; what it says in sum stands beside it in words.
pub(super) fn scatter(sheet: &Scatter) -> Markup {
    let x = |x: f64| format!("{:.2}%", x * 100.0);
    let y = |y: f64| format!("{:.1}", HEIGHT - y.clamp(0.0, 1.0) * HEIGHT);
    html! {
        p class="key" { (sheet.words) }
        figure class="scatter" {
            svg width="100%" height=(HEIGHT + 22.0) role="img" aria-label=(sheet.words) {
                @for tick in &sheet.ticks {
                    line class="tick" x1=(x(tick.x)) x2=(x(tick.x)) y1="0" y2=(HEIGHT) {}
                    @if tick.x < LAST_TICK { text class=[tick.minor.then_some("minor")] x=(x(tick.x)) y=(HEIGHT + 16.0) dx="3" { (tick.words) } }
                }
                @for (height, _, is_limit) in &sheet.guides {
                    line class=(if *is_limit { "limit" } else { "guide" }) x1="0" x2="100%" y1=(y(*height)) y2=(y(*height)) {}
                }
                @if let Some((left, right)) = sheet.trend { line class="trend" x1="0" x2="100%" y1=(y(left)) y2=(y(right)) {} }
                @for (at, height, words) in &sheet.points {
                    circle cx=(x(*at)) cy=(y(*height)) r="3.5" { title { (words) } }
                }
                @for (height, words, _) in &sheet.guides {
                    text class="scale" x="100%" dx="-3" dy="-4" y=(y(*height)) { (words) }
                }
                @if let Some((at, words)) = &sheet.onset {
                    line class="onset" x1=(x(*at)) x2=(x(*at)) y1="0" y2=(HEIGHT) {}
                    @if *at < 0.5 { text class="onset" x=(x(*at)) y="13" dx="4" { (words) } }
                    @else { text class="onset before" x=(x(*at)) y="13" dx="-4" { (words) } }
                }
            }
        }
    }
}
