//! The site plan, drawn to scale.

use maud::{Markup, html};

use super::labelling::{self, Ground, Label, Named, Rect};
use super::level;
use crate::advice::quoted;
use crate::desk::sheet::{Level, PlanBasin, PlanSheet, PlanSplitter, Urgency};
use crate::desk::units::Units;
use crate::desk::words;

/// Width of the drawing in its own units, about the pixels of a phone.
const WIDTH: f64 = 360.0;
/// Room around the outermost part, in the same units.
const MARGIN: f64 = 48.0;
/// Smallest basin that can still be seen, in the same units.
const SMALLEST: f64 = 7.0;

/// Plan metres to drawing units; x runs right, y up.
struct Scale {
    west_m: f64,
    north_m: f64,
    units_per_m: f64,
    height: f64,
}

impl Scale {
    fn fit(plan: &PlanSheet) -> Self {
        let basins = plan.basins.iter().map(|basin| (basin.at, basin.radius_m));
        let reach: Vec<((f64, f64), f64)> =
            basins.chain(plan.splitters.iter().map(|splitter| (splitter.at, 0.0))).collect();
        let bound = |start: f64, pick: fn(f64, f64) -> f64, edge: fn(&((f64, f64), f64)) -> f64| {
            reach.iter().map(edge).fold(start, pick)
        };
        let west_m = bound(f64::INFINITY, f64::min, |(at, r)| at.0 - r);
        let east_m = bound(f64::NEG_INFINITY, f64::max, |(at, r)| at.0 + r);
        let south_m = bound(f64::INFINITY, f64::min, |(at, r)| at.1 - r);
        let north_m = bound(f64::NEG_INFINITY, f64::max, |(at, r)| at.1 + r);
        // A plan much taller than wide shrinks, so that it fits on a screen.
        let (wide_m, high_m) = ((east_m - west_m).max(1.0), (north_m - south_m).max(1.0));
        let units_per_m = ((WIDTH - 2.0 * MARGIN) / wide_m).min(1.5 * WIDTH / high_m);
        let slack_m = (WIDTH - 2.0 * MARGIN) / units_per_m - (east_m - west_m);
        Self {
            west_m: west_m - slack_m / 2.0,
            north_m,
            units_per_m,
            height: (north_m - south_m) * units_per_m + 2.0 * MARGIN,
        }
    }

    fn place(&self, (x_m, y_m): (f64, f64)) -> (f64, f64) {
        let round = |v: f64| (v * 10.0).round() / 10.0;
        (
            round(MARGIN + (x_m - self.west_m) * self.units_per_m),
            round(MARGIN + (self.north_m - y_m) * self.units_per_m),
        )
    }

    fn radius(&self, basin: &PlanBasin) -> f64 {
        (basin.radius_m * self.units_per_m).max(SMALLEST)
    }

    /// A round length for the scale bar, about a quarter of the drawing, and how long it is drawn.
    fn bar(&self, units: Units) -> (f64, f64) {
        let rounds = [0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0, 2000.0, 5000.0];
        let drawn = |length: f64| units.metres_of(length) * self.units_per_m;
        let fits = |length: &f64| drawn(*length) <= WIDTH / 3.0;
        let length = rounds.into_iter().rev().find(fits).unwrap_or(rounds[0]);
        (length, drawn(length))
    }
}

/// The plan; what it shows is said in words beside it.
pub(in crate::desk) fn plan(plan: &PlanSheet, units: Units) -> Markup {
    let scale = Scale::fit(plan);
    let (inlet_x, inlet_y) = scale.place(plan.inlet);
    let (bar, bar_drawn) = scale.bar(units);
    let bar_y = scale.height - 10.0;
    let pipes: Vec<_> = plan.pipes.iter().map(|ends| ends.map(|end| scale.place(end))).collect();
    let (named, labels) = labels(plan, &scale, &pipes, bar_drawn);
    html! {
        figure class="plan" {
            svg viewBox={ "0 0 " (WIDTH) " " (format!("{:.0}", scale.height)) } role="group" aria-label="Site plan to scale" {
                @for [(x1, y1), (x2, y2)] in &pipes { line class="pipe" x1=(x1) y1=(y1) x2=(x2) y2=(y2) {} }
                path class="inlet" d={ "M" (inlet_x - 46.0) " " (inlet_y) "H" (inlet_x - 25.0) "m-6-5 6 5-6 5" } {}
                g class="labels" aria-hidden="true" { @for [from, to] in labels.iter().filter_map(|label| label.leader) {
                    line class="leader" x1=(one(from.0)) y1=(one(from.1)) x2=(one(to.0)) y2=(one(to.1)) {}
                } }
                @for basin in &plan.basins { (circle(basin, &scale)) }
                @for splitter in &plan.splitters {
                    @let (x, y) = scale.place(splitter.at);
                    a href=(splitter.page) {
                        title { "Splitter " (quoted(&splitter.id)) ", split " (level::split(splitter.level.as_ref(), &splitter.sides)) @if let Some(level) = &splitter.level { " " (level::period(level)) } }
                        (level::level(splitter.level.as_ref(), splitter.trouble, x, y))
                    }
                }
                g class="labels" aria-hidden="true" {
                    @for (thing, label) in named.iter().zip(&labels) {
                        @for (at, (words, (x, y))) in thing.lines.iter().zip(&label.lines).enumerate() {
                            text class=[(at > 0).then_some("small")] x=(one(*x)) y=(one(*y)) { (words) }
                        }
                    }
                }
                path class="bar" d={ "M10 " (bar_y - 4.0) "v4h" (one(bar_drawn)) "v-4" } {}
                text class="scale" x="14" y=(bar_y - 6.0) { (bar) " " (units.length_unit()) }
            }
            figcaption { details {
                summary { "How to read this plan" }
                "Circles have the area of their basins and are filled as the soil is with water. Each splitter is a spirit level, "
                "side a on the left: the bubble lies towards the side that gets too little; the pale part is what is not certain. "
                "The arrow is where the water comes in. What basins got and how splitters divide is of the last 30 days; where a "
                "splitter is found uneven, since that changed. A splitter with ! is found uneven, or is surely more than "
                (format!("{:.0}", Level::LIMIT * 100.0)) " parts in 100 off its design."
            } }
        }
    }
}

/// What has words on the plan, basins first, and where they go.
fn labels(plan: &PlanSheet, scale: &Scale, pipes: &[[(f64, f64); 2]], bar: f64) -> (Vec<Named>, Vec<Label>) {
    let basin = |basin: &PlanBasin| {
        let wet = if basin.wet { ", wet" } else { "" };
        let mut lines = vec![format!("{}{wet}", basin.label)];
        lines.extend(basin.received.map(|received| share(basin, received)));
        let radius = scale.radius(basin);
        Named { at: scale.place(basin.at), half: (radius, radius), lines }
    };
    let splitter = |splitter: &PlanSplitter| {
        let mark = if splitter.trouble { " !" } else { "" };
        let mut lines = vec![format!("{}{mark}", splitter.id)];
        lines.extend(
            splitter.level.as_ref().into_iter().flat_map(|level| split_lines(level, &splitter.sides)),
        );
        Named { at: scale.place(splitter.at), half: level::HALF_SIZE, lines }
    };
    let named: Vec<Named> =
        plan.basins.iter().map(basin).chain(plan.splitters.iter().map(splitter)).collect();
    let alarm = |basin: &PlanBasin| {
        let (x, y) = scale.place(basin.at);
        Rect::around((x + scale.radius(basin) + 6.0, y), (4.0, 8.0))
    };
    let (inlet_x, inlet_y) = scale.place(plan.inlet);
    let mut things: Vec<Rect> =
        plan.basins.iter().filter(|basin| basin.trouble.is_some()).map(alarm).collect();
    things.push(Rect {
        left: inlet_x - 46.0,
        top: inlet_y - 6.0,
        right: inlet_x - 24.0,
        bottom: inlet_y + 6.0,
    });
    things.push(Rect { left: 8.0, top: scale.height - 28.0, right: 12.0 + bar, bottom: scale.height - 8.0 });
    let sheet = Rect { left: 2.0, top: 2.0, right: WIDTH - 2.0, bottom: scale.height - 2.0 };
    let labels = labelling::place(&named, &Ground { sheet, things, pipes });
    (named, labels)
}

/// The split on one line, or on two where names are long.
fn split_lines(level: &Level, sides: &[String; 2]) -> Vec<String> {
    /// Characters that a line beside a splitter may have.
    const SHORT: usize = 18;
    let whole = level::split(Some(level), sides);
    match whole.split_once(" : ") {
        Some((a, b)) if whole.chars().count() > SHORT => vec![format!("{a} :"), b.to_owned()],
        _ => vec![whole],
    }
}

fn one(value: f64) -> String {
    format!("{value:.1}")
}

fn circle(basin: &PlanBasin, scale: &Scale) -> Markup {
    let (x, y) = scale.place(basin.at);
    let radius = scale.radius(basin);
    let class = basin.trouble.map_or("", Urgency::class);
    html! {
        a href=(basin.page) aria-label=(name(basin)) {
            circle class={ "basin " (class) @if basin.wet { " wet" } } cx=(x) cy=(y) r=(format!("{radius:.1}")) {}
            @if let Some((content, most)) = basin.soil {
                path class="water" d=(filled(x, y, radius - 1.5, content / most)) {}
                @if radius > 14.0 { text class="small" x=(x) y=(y + 4.0) { (words::percent(content)) } }
            }
            @if basin.trouble.is_some() { text class="alarm" x=(format!("{:.1}", x + radius + 6.0)) y=(y + 5.0) { "!" } }
        }
    }
}

/// What the drawn basin says, for those who do not see it.
fn name(basin: &PlanBasin) -> String {
    let mut parts = vec![words::capitalised(&basin.label)];
    parts.extend(basin.wet.then(|| "wet".to_owned()));
    parts.extend(basin.soil.map(|(content, _)| format!("soil {} water", words::percent(content))));
    parts.extend(basin.received.map(|received| share(basin, received)));
    parts.join(", ")
}

fn share(basin: &PlanBasin, received: f64) -> String {
    format!("got {}, due {}", words::percent(received), words::percent(basin.design))
}

/// A circle filled from below to a part of its height.
fn filled(x: f64, y: f64, radius: f64, part: f64) -> String {
    let part = part.clamp(0.0, 0.999);
    let up = (2.0 * part - 1.0) * radius;
    let half = (radius * radius - up * up).max(0.0).sqrt();
    let large = i32::from(part > 0.5);
    format!(
        "M{:.1} {:.1}A{radius:.1} {radius:.1} 0 {large} 0 {:.1} {:.1}Z",
        x - half,
        y - up,
        x + half,
        y - up
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::desk::samples;

    #[test]
    fn distances_on_the_plan_are_to_scale() {
        let system = samples::terrace();
        let plan = samples::plan(&system);
        let scale = Scale::fit(&plan);
        let ((ax, ay), (bx, by)) = (scale.place((2.0, 3.0)), scale.place((4.0, 4.0)));
        assert!(ax < bx && ay > by, "x runs right, y up");
        assert!(((bx - ax) / 2.0 - (ay - by)).abs() < 0.2, "one scale for both directions");
        assert!((bx - ax - 2.0 * scale.units_per_m).abs() < 0.2);
        let ((metres, in_metres), (feet, in_feet)) = (scale.bar(Units::Metric), scale.bar(Units::Us));
        assert!((in_metres / metres - scale.units_per_m).abs() < 1e-9);
        // A foot is 0.3048 m exactly (NIST Handbook 44, appendix C).
        assert!((in_feet / feet - 0.3048 * scale.units_per_m).abs() < 1e-9 && in_feet <= WIDTH / 3.0);
    }
}
