//! The timeline: lanes over one axis of time, with the way to other stretches of it.
//!
//! Across, everything is a percentage, so that the drawing takes the width it is given and its words keep
//! their size. Only curves are stretched.

use std::fmt::Write;

use maud::{Markup, html};

use super::time_table;
use crate::desk::sheet::{Bar, BarLane, FindingBar, Range, SoilLane, SoilPoint, TimelineSheet};
use crate::desk::units::Units;
use crate::desk::words;

/// Height of a lane of moisture, px.
const SOIL_PX: f64 = 76.0;
/// Height of a lane of bars, px.
const BARS_PX: f64 = 52.0;
/// Width of the drawing on a small phone, px.
const NARROWEST_PX: f64 = 320.0;
/// Ticks beyond this have no room for their words there.
pub(super) const LAST_TICK: f64 = 0.86;
/// Height of a row of findings, px.
const FINDING_PX: f64 = 26.0;
/// Height of the strip in which standing water is drawn, px.
const STANDING_PX: f64 = 9.0;
/// Part of its step that a bar takes, so that bars stand apart.
const STEP: f64 = 0.86;
/// Drawing units of a curve: across the lane, and for each px down.
const ACROSS: f64 = 2000.0;
const PER_PX: f64 = 10.0;

/// Everything about the timeline.
pub(super) fn timeline(sheet: &TimelineSheet, units: Units) -> Markup {
    let query = sheet.stretch.query();
    html! {
        div class="timeline-head" {
            h2 id="timeline" { "What happened" }
            p class="key" { (sheet.words) }
        }
        (ways(sheet))
        div class="timeline" tabindex="0" role="group" aria-roledescription="timeline"
            aria-label={ "Timeline, " (sheet.words) ". Arrow keys move along it, plus and minus zoom, Page Up and Page Down move in time." }
            data-page=(sheet.page) data-from=(sheet.stretch.from.millis()) data-to=(sheet.stretch.to.millis())
            data-told={ (sheet.page) "/timeline.json?" (query) } {
            (lanes(sheet))
        }
        p class="told" id="told" role="status" aria-live="polite" {}
        p class="key" {
            "Curves: water content of the soil, with the range within each step. Dashed: what this soil holds once it has drained. "
            "Bars at the foot: water standing at the float. "
            @if !sheet.findings.is_empty() { "Bars under “Findings”: how long something was wrong; filled while it still is, hollow once it is over. Tap one to read about it. " }
            "Tap the drawing, or point at it, to read the values there."
        }
        details class="table" {
            summary { "The same as a table" }
            (time_table::table(&sheet.table, units))
        }
        p { a href={ (sheet.page) "/timeline.csv?" (query) } download { "Everything in this stretch as CSV" } }
    }
}

/// The lanes alone, as a picture of what is told in words elsewhere.
pub(super) fn picture(sheet: &TimelineSheet) -> Markup {
    let from_to = format!("{}?{}#timeline", sheet.page, sheet.stretch.query());
    html! {
        p class="key" { (sheet.words) }
        div class="timeline still" role="group" aria-label={ "Timeline, " (sheet.words) } { (lanes(sheet)) }
        p { a class="target" href=(from_to) { "Look closer, and for exact values" } }
    }
}

fn lanes(sheet: &TimelineSheet) -> Markup {
    html! {
        (axis(sheet))
        @if !sheet.findings.is_empty() { (findings(&sheet.findings)) }
        @let scale = Scale::of(&sheet.soil);
        @for lane in &sheet.soil { (soil(lane, &scale)) }
        (bars(&sheet.water, "doses"))
        @if let Some(rain) = &sheet.rain { (bars(rain, "rain")) }
    }
}

/// Links to other stretches; the script follows them without leaving the page.
fn ways(sheet: &TimelineSheet) -> Markup {
    let stretch = &sheet.stretch;
    let to = |query: String| format!("{}?{query}#timeline", sheet.page);
    html! {
        nav class="ways" aria-label="Stretch of time" {
            ul {
                @for range in Range::ALL {
                    li {
                        a href=(to(format!("range={}", range.name()))) data-way
                            aria-current=[(stretch.last == Some(range)).then_some("true")] { (words::capitalised(range.name())) }
                    }
                }
            }
            ul {
                li { a href=(to(stretch.moved(-0.5).query())) data-way="earlier" { "← Earlier" } }
                li { a href=(to(stretch.scaled(0.5).query())) data-way="closer" { "Closer" } }
                li { a href=(to(stretch.scaled(2.0).query())) data-way="wider" { "Wider" } }
                li { a href=(to(stretch.moved(0.5).query())) data-way="later" { "Later →" } }
            }
        }
    }
}

fn percent(part: f64) -> String {
    format!("{:.2}%", part * 100.0)
}

fn axis(sheet: &TimelineSheet) -> Markup {
    html! {
        svg class="axis" width="100%" height="22" aria-hidden="true" {
            defs {
                g id="ticks" {
                    @for tick in &sheet.ticks {
                        @let x = percent(tick.x);
                        line class="tick" x1=(x) x2=(x) y1="0" y2="100%" {}
                    }
                    @if let Some(now) = sheet.now {
                        @let x = percent(now);
                        line class="now" x1=(x) x2=(x) y1="0" y2="100%" {}
                    }
                }
            }
            @for tick in sheet.ticks.iter().filter(|tick| tick.x < LAST_TICK) {
                text class=[tick.minor.then_some("minor")] x=(percent(tick.x)) y="15" dx="3" { (tick.words) }
            }
        }
    }
}

fn findings(findings: &[FindingBar]) -> Markup {
    let rows = findings.iter().map(|finding| finding.row + 1).max().unwrap_or(0);
    html! {
        div class="lane" {
            p class="lane-name" { "Findings" }
            svg width="100%" height=(rows as f64 * FINDING_PX) {
                use href="#ticks" {}
                @for finding in findings {
                    a href=(finding.href) class={ "bar " (finding.urgency.class()) @if finding.open { " open" } } {
                        title { (finding.words) }
                        svg x=(percent(finding.x)) y=(finding.row as f64 * FINDING_PX + 1.0)
                            width=(percent(finding.width.max(0.008))) height=(FINDING_PX - 2.0) {
                            rect width="100%" height="100%" {}
                            @if fits(finding) { text x="6" y="16" { (finding.short) } }
                        }
                    }
                }
            }
        }
    }
}

/// Whether its words fit into a bar on a phone; the bar says them to whoever points at it in any case.
fn fits(finding: &FindingBar) -> bool {
    const LETTER_PX: f64 = 7.5;
    finding.width * NARROWEST_PX >= 10.0 + LETTER_PX * finding.short.chars().count() as f64
}

/// One scale for the moisture of all basins, so that lanes can be compared.
struct Scale {
    floor: f64,
    top: f64,
}

impl Scale {
    /// From a full 5 % below everything in sight to a full 5 % above.
    fn of(lanes: &[SoilLane]) -> Self {
        let extents = || lanes.iter().filter_map(|lane| lane.extent);
        let low = extents().map(|(low, _)| low).fold(f64::INFINITY, f64::min);
        let high = extents().map(|(_, high)| high).fold(0.0, f64::max);
        let capacity = lanes.first().map_or(0.2, |lane| lane.field_capacity);
        let low = low.min(capacity);
        Self {
            floor: ((low - 0.01) / 0.05).floor().max(0.0) * 0.05,
            top: ((high.max(capacity) + 0.01) / 0.05).ceil() * 0.05,
        }
    }

    /// Place of a water content in a lane, as a part of its height from the top.
    fn down(&self, content: f64) -> f64 {
        (self.top - content) / (self.top - self.floor)
    }
}

fn soil(lane: &SoilLane, scale: &Scale) -> Markup {
    let height = if lane.has_probe { SOIL_PX } else { STANDING_PX + 6.0 };
    html! {
        div class="lane" {
            p class="lane-name" {
                b { (lane.label) }
                @match (lane.extent, lane.has_probe) {
                    (Some((low, high)), _) => { " " (words::percent(low)) " to " (words::percent(high)) " water" }
                    (None, true) => " no moisture reading in this stretch",
                    (None, false) => " no moisture probe",
                }
                @if !lane.closures.is_empty() { ", stood " (times(lane.closures.len())) }
            }
            svg width="100%" height=(height) aria-hidden="true" {
                use href="#ticks" {}
                @if lane.has_probe { (course(lane, scale)) }
                @for closure in &lane.closures {
                    (bar(closure, (height - STANDING_PX, STANDING_PX), 1.0, "standing"))
                }
            }
        }
    }
}

fn times(number: usize) -> String {
    match number {
        1 => "once".to_owned(),
        2 => "twice".to_owned(),
        number => format!("{} times", words::count(number)),
    }
}

fn course(lane: &SoilLane, scale: &Scale) -> Markup {
    let room = SOIL_PX - STANDING_PX - 2.0;
    let capacity = format!("{:.1}", scale.down(lane.field_capacity) * room);
    let y = |content: f64| scale.down(content) * room * PER_PX;
    html! {
        line class="capacity" x1="0" x2="100%" y1=(capacity) y2=(capacity) {}
        svg class="course" width="100%" height=(SOIL_PX) preserveAspectRatio="none"
            viewBox={ "0 0 " (ACROSS) " " (SOIL_PX * PER_PX) } {
            @for run in &lane.runs {
                @if run.iter().any(|point| y(point.min) - y(point.max) > PER_PX) { path class="range" d=(band(run, y)) {} }
                path class="mean" d=(curve(run, y)) {}
            }
        }
        text class="scale" x="100%" y="11" dx="-3" { (words::percent(scale.top)) }
        text class="scale" x="100%" y=(room) dx="-3" { (words::percent(scale.floor)) }
    }
}

fn curve(run: &[SoilPoint], y: impl Fn(f64) -> f64) -> String {
    let mut path = Path::default();
    for point in run {
        path.to(point.x, y(point.mean));
    }
    if let [only] = run {
        path.to(only.x + 0.002, y(only.mean));
    }
    path.text
}

/// There along the highest, back along the lowest.
fn band(run: &[SoilPoint], y: impl Fn(f64) -> f64) -> String {
    let mut path = Path::default();
    for point in run {
        path.to(point.x, y(point.max));
    }
    for point in run.iter().rev() {
        path.to(point.x, y(point.min));
    }
    path.text.push('Z');
    path.text
}

/// A path in whole drawing units, each step relative to the one before: short to send.
#[derive(Default)]
struct Path {
    text: String,
    at: (i64, i64),
}

impl Path {
    fn to(&mut self, x: f64, y: f64) {
        let next = ((x * ACROSS).round() as i64, y.round() as i64);
        let (dx, dy) = (next.0 - self.at.0, next.1 - self.at.1);
        let step = if self.text.is_empty() { 'M' } else { 'l' };
        let gap = if dy < 0 { "" } else { " " };
        write!(self.text, "{step}{dx}{gap}{dy}").expect("writing to a string cannot fail");
        self.at = next;
    }
}

fn bars(lane: &BarLane, class: &str) -> Markup {
    html! {
        div class="lane" {
            p class="lane-name" {
                b { (lane.name) }
                @match &lane.highest {
                    Some(highest) => { " up to " (highest) }
                    None if lane.bars.is_empty() => " none in this stretch",
                    None => {}
                }
            }
            svg width="100%" height=(BARS_PX) aria-hidden="true" {
                use href="#ticks" {}
                @for each in &lane.bars { (bar(each, (0.0, BARS_PX), STEP, class)) }
            }
        }
    }
}

/// A bar that stands on `top + room` and takes the part `filled` of its time.
fn bar(bar: &Bar, (top, room): (f64, f64), filled: f64, class: &str) -> Markup {
    let height = (bar.height * room).max(2.0);
    let y = format!("{:.1}", top + room - height);
    html! {
        rect class={ (class) @if bar.faint { " faint" } } x=(percent(bar.x)) y=(y)
            width=(percent((bar.width * filled).max(0.003))) height=(format!("{height:.1}")) {
            title { (bar.words) }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_path_is_told_in_small_steps() {
        let point = |x, mean| SoilPoint { x, min: mean, mean, max: mean };
        let run = [point(0.1, 0.5), point(0.2, 0.4), point(0.3, 0.6)];
        assert_eq!(curve(&run, |content| content * 100.0), "M200 50l200-10l200 20");
    }

    #[test]
    fn the_scale_has_room_above_and_below() {
        let lane = |low, high| SoilLane {
            basin: "fig".into(),
            label: "fig".into(),
            runs: Vec::new(),
            extent: Some((low, high)),
            top: 0.5,
            field_capacity: 0.232,
            closures: Vec::new(),
            has_probe: true,
        };
        let scale = Scale::of(&[lane(0.30, 0.39), lane(0.35, 0.44)]);
        assert!((scale.floor - 0.20).abs() < 1e-9 && (scale.top - 0.45).abs() < 1e-9);
        assert!((scale.down(0.45)).abs() < 1e-9 && (scale.down(0.20) - 1.0).abs() < 1e-9);
    }
}
