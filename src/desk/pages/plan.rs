//! The site plan, drawn to scale.

use std::f64::consts::TAU;

use maud::{Markup, html};

use super::labelling::{self, Ground, Named, Placed, Rect};
use super::level;
use crate::advice::quoted;
use crate::desk::sheet::{Level, PlanBasin, PlanSheet, PlanSplitter, Urgency};
use crate::desk::units::Units;
use crate::desk::words;

/// Width of the drawing in its own units, about the pixels of a phone.
const WIDTH: f64 = 360.0;
/// Room above and below the outermost part, in the same units.
const MARGIN: f64 = 48.0;
/// Room left and right of the outermost part: the least that there is, and what words beside it take.
const SIDES: [f64; 2] = [48.0, 112.0];
/// Half of what a finger needs: 24 px on a phone that is 360 px wide (WCAG 2.2, 2.5.8), which draws this a tenth smaller.
const FINGER: f64 = 14.0;
/// Circles larger than this have room for a number.
const NUMBERED: f64 = 14.0;
/// Smallest basin that can still be seen, in the same units.
const SMALLEST: f64 = 7.0;
/// Labels may cover this much before they say less: square drawing units, about a letter.
const CRAMPED: f64 = 40.0;

/// Plan metres to drawing units; x runs right, y up.
struct Scale {
    left: f64,
    west_m: f64,
    north_m: f64,
    units_per_m: f64,
    height: f64,
}

impl Scale {
    /// With this much room left and right of the outermost part.
    fn fit(plan: &PlanSheet, (left, right): (f64, f64)) -> Self {
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
        let units_per_m = ((WIDTH - left - right) / wide_m).min(1.5 * WIDTH / high_m);
        let slack_m = (WIDTH - left - right) / units_per_m - (east_m - west_m);
        Self {
            left,
            west_m: west_m - slack_m / 2.0,
            north_m,
            units_per_m,
            height: (north_m - south_m) * units_per_m + 2.0 * MARGIN,
        }
    }

    /// How large levels are drawn, so that those of neighbours lie apart.
    fn levels(&self, plan: &PlanSheet) -> f64 {
        let (half_w, half_h) = level::HALF_SIZE;
        let mut largest: f64 = 1.0;
        for (at, one) in plan.splitters.iter().enumerate() {
            for other in &plan.splitters[at + 1..] {
                let [(x1, y1), (x2, y2)] = [one.at, other.at].map(|at| self.place(at));
                largest =
                    largest.min(((x1 - x2).abs() / (2.0 * half_w)).max((y1 - y2).abs() / (2.0 * half_h)));
            }
        }
        largest.max(level::SMALLEST)
    }

    fn place(&self, (x_m, y_m): (f64, f64)) -> (f64, f64) {
        let round = |v: f64| (v * 10.0).round() / 10.0;
        (
            round(self.left + (x_m - self.west_m) * self.units_per_m),
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

/// Everything on the plan with its place.
struct Drawn {
    scale: Scale,
    /// How large levels are.
    levels: f64,
    pipes: Vec<[(f64, f64); 2]>,
    bar: (f64, f64),
    named: Vec<Named>,
    placed: Placed,
    /// Splits are told beside their splitters.
    tells_splits: bool,
}

/// The plan drawn so that its words find room: as large as they allow, and where they find none, with splits told below
/// it instead.
fn drawn(plan: &PlanSheet, units: Units) -> Drawn {
    let best = |tells_splits: bool| {
        let sides = SIDES.into_iter().flat_map(|left| SIDES.map(|right| (left, right)));
        let all = sides.map(|sides| drawn_so(plan, units, sides, tells_splits));
        all.min_by(|a, b| a.placed.cost.total_cmp(&b.placed.cost)).expect("there are four ways to draw it")
    };
    let whole = best(true);
    if whole.placed.covered < CRAMPED { whole } else { best(false) }
}

fn drawn_so(plan: &PlanSheet, units: Units, sides: (f64, f64), tells_splits: bool) -> Drawn {
    let scale = Scale::fit(plan, sides);
    let pipes: Vec<_> = plan.pipes.iter().map(|ends| ends.map(|end| scale.place(end))).collect();
    let (levels, bar) = (scale.levels(plan), scale.bar(units));
    let named = named(plan, &scale, levels, tells_splits);
    let sheet = Rect { left: 2.0, top: 2.0, right: WIDTH - 2.0, bottom: scale.height - 2.0 };
    let ground = Ground { sheet, things: things(plan, &scale, bar.1), pipes: &pipes };
    let placed = labelling::place(&named, &ground);
    Drawn { scale, levels, pipes, bar, named, placed, tells_splits }
}

/// The plan; what it shows is said in words beside it.
pub(in crate::desk) fn plan(plan: &PlanSheet, units: Units) -> Markup {
    let Drawn { scale, levels, pipes, bar: (bar, bar_drawn), named, placed, tells_splits } =
        drawn(plan, units);
    let (inlet_x, inlet_y) = scale.place(plan.inlet);
    let bar_y = scale.height - 10.0;
    let labels = &placed.labels;
    let reaches = reaches(&named);
    html! {
        figure class="plan" {
            svg viewBox={ "0 0 " (WIDTH) " " (format!("{:.0}", scale.height)) } role="group" aria-label={ "Site plan of " (plan.name) ", to scale" } {
                @for [(x1, y1), (x2, y2)] in &pipes { line class="pipe" x1=(x1) y1=(y1) x2=(x2) y2=(y2) {} }
                path class="inlet" d={ "M" (inlet_x - 46.0) " " (inlet_y) "H" (inlet_x - 25.0) "m-6-5 6 5-6 5" } {}
                g class="labels" aria-hidden="true" { @for [from, to] in labels.iter().filter_map(|label| label.leader) {
                    line class="leader" x1=(one(from.0)) y1=(one(from.1)) x2=(one(to.0)) y2=(one(to.1)) {}
                } }
                @for (basin, reach) in plan.basins.iter().zip(&reaches) { (circle(basin, &scale, *reach)) }
                @for (splitter, reach) in plan.splitters.iter().zip(&reaches[plan.basins.len()..]) {
                    @let (x, y) = scale.place(splitter.at);
                    a href=(splitter.page) {
                        (hit((x, y), *reach))
                        title { "Splitter " (quoted(&splitter.id)) ", split " (level::split(splitter.level.as_ref(), &splitter.sides)) @if let Some(level) = &splitter.level { " " (level::period(level)) } }
                        g transform={ "translate(" (x) " " (y) ") scale(" (format!("{levels:.2}")) ")" } { (level::level(splitter.level.as_ref(), splitter.trouble, 0.0, 0.0)) }
                    }
                }
                g class="labels" aria-hidden="true" {
                    @for (thing, label) in named.iter().zip(labels) {
                        @for (at, (words, (x, y))) in thing.lines.iter().zip(&label.lines).enumerate() {
                            text class=[(at > 0).then_some("small")] x=(one(*x)) y=(one(*y)) { (words) }
                        }
                    }
                }
                path class="bar" d={ "M10 " (bar_y - 4.0) "v4h" (one(bar_drawn)) "v-4" } {}
                text class="scale" x="14" y=(bar_y - 6.0) { (bar) " " (units.length_unit()) }
            }
            figcaption {
                @for note in &plan.notes { p { (note) } }
                @if !tells_splits { (splits(plan)) }
                details {
                    summary { "How to read this plan" span class="unseen" { " of " (plan.name) } }
                    "Circles have the area of their basins; where one has room for it, the number in it and as much of it that is filled "
                    "say how much of its soil is water. Waves across one say that water stands in it. Beside each stands what part of the water it got, and what part it gets by plan. Each splitter is a "
                    "spirit level, side a on the left: the bubble lies towards the side that gets too little; the pale part is what is "
                    "not certain. The arrow is where the water comes in. What basins got and how splitters divide is of the last 30 "
                    "days; where a splitter is found uneven, since that changed. A basin or a splitter with ! has something wrong now, by its thick rim as well."
                }
            }
        }
    }
}

/// How each splitter divides the water, where the drawing has no room for that.
fn splits(plan: &PlanSheet) -> Markup {
    html! {
        details {
            summary { "How each splitter divides the water" span class="unseen" { " at " (plan.name) } }
            ul {
                @for splitter in &plan.splitters {
                    li { a class="target" href=(splitter.page) { "Splitter " (splitter.id) } @if splitter.trouble { " !" } ": " (level::split(splitter.level.as_ref(), &splitter.sides)) }
                }
            }
        }
    }
}

/// What has words on the plan, basins first.
fn named(plan: &PlanSheet, scale: &Scale, levels: f64, tells_splits: bool) -> Vec<Named> {
    let basin = |basin: &PlanBasin| {
        let wet = if basin.wet { ", wet" } else { "" };
        let mark = if basin.trouble.is_some() { " !" } else { "" };
        let mut lines = vec![format!("{}{wet}{mark}", basin.label)];
        lines.extend(basin.received.map(|received| share(basin, received)));
        let radius = scale.radius(basin);
        Named { at: scale.place(basin.at), half: (radius, radius), lines }
    };
    let splitter = |splitter: &PlanSplitter| {
        let mark = if splitter.trouble { " !" } else { "" };
        let mut lines = vec![format!("{}{mark}", splitter.id)];
        let level = splitter.level.as_ref().filter(|_| tells_splits);
        lines.extend(level.into_iter().flat_map(|level| split_lines(level, &splitter.sides)));
        let (half_w, half_h) = level::HALF_SIZE;
        Named { at: scale.place(splitter.at), half: (half_w * levels, half_h * levels), lines }
    };
    plan.basins.iter().map(basin).chain(plan.splitters.iter().map(splitter)).collect()
}

/// What else is drawn that words should not cover: the inlet and the scale's bar.
fn things(plan: &PlanSheet, scale: &Scale, bar: f64) -> Vec<Rect> {
    let (inlet_x, inlet_y) = scale.place(plan.inlet);
    vec![
        Rect { left: inlet_x - 46.0, top: inlet_y - 6.0, right: inlet_x - 24.0, bottom: inlet_y + 6.0 },
        Rect { left: 8.0, top: scale.height - 28.0, right: 12.0 + bar, bottom: scale.height - 8.0 },
    ]
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

/// How far around its middle each part takes a tap: as far as a finger needs, or half-way to the next part.
fn reaches(named: &[Named]) -> Vec<f64> {
    let apart = |a: &Named, b: &Named| (a.at.0 - b.at.0).hypot(a.at.1 - b.at.1);
    let nearest = |at: usize| {
        let others = named.iter().enumerate().filter(|(other, _)| *other != at);
        others.map(|(_, other)| apart(&named[at], other)).fold(f64::INFINITY, f64::min)
    };
    (0..named.len()).map(|at| FINGER.min(nearest(at) / 2.0)).collect()
}

/// What takes a tap around a part that is drawn smaller than a finger.
fn hit((x, y): (f64, f64), reach: f64) -> Markup {
    html! { circle class="hit" cx=(x) cy=(y) r=(one(reach)) {} }
}

fn one(value: f64) -> String {
    format!("{value:.1}")
}

fn circle(basin: &PlanBasin, scale: &Scale, reach: f64) -> Markup {
    let (x, y) = scale.place(basin.at);
    let radius = scale.radius(basin);
    // Water without its number beside it would be taken for the share that stands there.
    let content = basin.soil.filter(|_| radius > NUMBERED);
    let class = basin.trouble.map_or("", Urgency::class);
    html! {
        a href=(basin.page) aria-label=(name(basin)) {
            (hit((x, y), reach))
            circle class={ "basin " (class) @if basin.wet { " wet" } } cx=(x) cy=(y) r=(format!("{radius:.1}")) {}
            @if let Some(content) = content {
                path class="water" d=(filled(x, y, radius - 1.5, content)) {}
                text class="small" x=(x) y=(y + 4.0) { (words::percent(content)) }
            }
            @if basin.wet { path class="wave" d=(waves(x, y, radius)) {} }
        }
    }
}

/// Two waves across a circle, above and below its middle, where words may stand.
fn waves(x: f64, y: f64, radius: f64) -> String {
    let wave = |up: f64| {
        let half = (radius * radius - up * up).max(0.0).sqrt() * 0.8;
        let step = half / 2.0;
        format!(
            "M{:.1} {:.1}q{:.1} -4 {step:.1} 0t{step:.1} 0 {step:.1} 0 {step:.1} 0",
            x - half,
            y - up,
            step / 2.0
        )
    };
    format!("{}{}", wave(0.55 * radius), wave(-0.6 * radius))
}

/// What the drawn basin says, for those who do not see it.
fn name(basin: &PlanBasin) -> String {
    let mut parts = vec![words::capitalised(&basin.label)];
    parts.extend(basin.trouble.map(|_| "something is wrong".to_owned()));
    parts.extend(basin.wet.then(|| "water stands in it".to_owned()));
    parts.extend(basin.soil.map(|content| format!("soil {} water", words::percent(content))));
    parts.extend(basin.received.map(|received| {
        format!("got {} of the water, planned {}", words::percent(received), words::share(basin.design))
    }));
    parts.join(", ")
}

/// How much of the water it got, and how much the design gives it.
fn share(basin: &PlanBasin, received: f64) -> String {
    format!("{}, plan {}", words::percent(received), words::share(basin.design))
}

/// How high a circle is filled whose filled part is `area` of it, as a part of its height: the segment over an angle t
/// has the area (t - sin t) / 2π of the circle, and grows with t.
fn height_of(area: f64) -> f64 {
    let (mut low, mut high) = (0.0, TAU);
    for _ in 0..40 {
        let angle = f64::midpoint(low, high);
        if (angle - angle.sin()) / TAU < area { low = angle } else { high = angle }
    }
    (1.0 - (low / 2.0).cos()) / 2.0
}

/// A circle of which the part `area` is filled, from below.
fn filled(x: f64, y: f64, radius: f64, area: f64) -> String {
    let part = height_of(area).clamp(0.0, 0.999);
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
    use crate::desk::gather::{self, Lately};
    use crate::desk::samples;
    use crate::desk::sheet::LevelBasis;

    #[test]
    fn distances_on_the_plan_are_to_scale() {
        let system = samples::terrace();
        let plan = samples::plan(&system);
        let scale = Scale::fit(&plan, (SIDES[0], SIDES[0]));
        let ((ax, ay), (bx, by)) = (scale.place((2.0, 3.0)), scale.place((4.0, 4.0)));
        assert!(ax < bx && ay > by, "x runs right, y up");
        assert!(((bx - ax) / 2.0 - (ay - by)).abs() < 0.2, "one scale for both directions");
        assert!((bx - ax - 2.0 * scale.units_per_m).abs() < 0.2);
        let ((metres, in_metres), (feet, in_feet)) = (scale.bar(Units::Metric), scale.bar(Units::Us));
        assert!((in_metres / metres - scale.units_per_m).abs() < 1e-9);
        // A foot is 0.3048 m exactly (NIST Handbook 44, appendix C).
        assert!((in_feet / feet - 0.3048 * scale.units_per_m).abs() < 1e-9 && in_feet <= WIDTH / 3.0);
    }

    /// The terrace with its basins, of which nothing was heard.
    fn terrace() -> PlanSheet {
        let (system, now) = (samples::terrace(), "2026-06-01T12:00:00Z".parse().unwrap());
        let card = gather::card(&system, &[], &[], now, Units::Metric);
        let lately = Lately { open: &[], over: &[], doses: &[], now };
        gather::plan(&system, &card.basins, &lately).unwrap()
    }

    /// Eight basins close together on the far side of seven splitters: more words than room.
    fn crowded() -> PlanSheet {
        let mut plan = terrace();
        let (basin, splitter) = (plan.basins[0].clone(), plan.splitters[0].clone());
        let level =
            Level { share_a: 0.5, design_a: 0.5, interval: Some((0.48, 0.52)), basis: LevelBasis::Doses(40) };
        plan.basins = (0..8)
            .map(|n| PlanBasin {
                label: format!("pomegranate {n}"),
                at: (12.0, 2.0 * f64::from(n)),
                radius_m: 0.7,
                received: Some(0.12),
                ..basin.clone()
            })
            .collect();
        plan.splitters = (0..7)
            .map(|n| PlanSplitter {
                id: format!("s{n}"),
                at: (9.0 + 0.3 * f64::from(n), 6.0 + 0.35 * f64::from(n)),
                level: Some(level),
                sides: ["pomegranate".to_owned(), "saltbush hedge".to_owned()],
                ..splitter.clone()
            })
            .collect();
        (plan.pipes, plan.inlet) = (Vec::new(), plan.splitters[0].at);
        plan
    }

    #[test]
    fn a_crowded_plan_tells_splits_below_it_and_covers_nothing() {
        let drawn = drawn(&crowded(), Units::Metric);
        assert!(!drawn.tells_splits && drawn.placed.covered < CRAMPED, "{}", drawn.placed.covered);
        assert!((level::SMALLEST..1.0).contains(&drawn.levels), "{}", drawn.levels);
        let html = plan(&crowded(), Units::Metric).into_string();
        assert!(
            html.contains("How each splitter divides the water")
                && html.contains("pomegranate 50 : saltbush hedge 50")
        );
    }

    #[test]
    fn what_has_room_tells_its_splits_in_the_drawing() {
        let plan = terrace();
        let drawn = drawn(&plan, Units::Metric);
        assert!(drawn.tells_splits && drawn.placed.covered < CRAMPED);
    }

    #[test]
    fn a_circle_is_filled_by_its_area_and_only_beside_its_number() {
        assert!((height_of(0.5) - 0.5).abs() < 1e-6 && height_of(0.0) < 1e-6 && height_of(1.0) > 0.999);
        // A segment as high as half the radius is (π/3 - √3/4) / π of the circle (any table of circular segments).
        let quarter = (std::f64::consts::FRAC_PI_3 - 3.0_f64.sqrt() / 4.0) / std::f64::consts::PI;
        assert!((height_of(quarter) - 0.25).abs() < 1e-6, "{}", height_of(quarter));
        let mut sheet = terrace();
        sheet.basins.iter_mut().for_each(|basin| basin.soil = Some(0.21));
        let large = plan(&sheet, Units::Metric).into_string();
        assert!(large.contains("class=\"water\"") && large.contains(">21\u{a0}%</text>"), "{large}");
        sheet.basins.iter_mut().for_each(|basin| basin.radius_m = 0.05);
        let small = plan(&sheet, Units::Metric).into_string();
        assert!(!small.contains("class=\"water\"") && small.contains("soil 21\u{a0}% water"), "{small}");
    }

    #[test]
    fn parts_take_a_tap_as_large_as_a_finger_unless_another_is_nearer() {
        let named = |x: f64| Named { at: (x, 0.0), half: (7.0, 7.0), lines: Vec::new() };
        assert_eq!(reaches(&[named(0.0), named(20.0), named(100.0)]), [10.0, 10.0, FINGER]);
    }

    #[test]
    fn standing_water_is_told_by_waves_and_words_as_well_as_by_colour() {
        let mut sheet = terrace();
        sheet.basins.iter_mut().for_each(|basin| basin.wet = false);
        let dry = plan(&sheet, Units::Metric).into_string();
        assert!(!dry.contains("class=\"wave\"") && !dry.contains(", water stands in it"));
        sheet.basins[0].wet = true;
        let wet = plan(&sheet, Units::Metric).into_string();
        assert_eq!(wet.matches("class=\"wave\"").count(), 1);
        assert!(wet.contains(", water stands in it") && wet.contains(", wet</text>"));
    }
}
