//! The rows of the picture.

use super::axis::Scale;
use super::input::{BasinTrace, DoseBar, FaultBand, FindingSpan, PlotInput, Severity};
use super::svg::{Anchor, Svg};

const MOISTURE: &str = "#1b4f8f";
const WATER: &str = "#8fc7dd";
const FLOAT: &str = "#333";
const OVERFLOW: &str = "#b3261e";
const FAULT: &str = "#e8a13a";
const RAIN: &str = "#5b8dbd";
const SEWER: &str = "#bbb";

/// Colours of the basins in doses and shares.
const BASINS: [&str; 8] =
    ["#33658a", "#d17b0f", "#4c956c", "#9b5094", "#c44536", "#6c757d", "#8a6d3b", "#2a9d8f"];

/// Height of the lane on which findings of one name are drawn (px).
const LANE: f64 = 17.0;

/// Doses smaller than this say little about shares (L).
const SHARED_FROM_L: f64 = 5.0;

/// One row: where it lies on the page, and the time along it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Row {
    pub(super) time: Scale,
    pub(super) top: f64,
    pub(super) height: f64,
}

impl Row {
    fn bottom(&self) -> f64 {
        self.top + self.height
    }

    fn x(&self, at_ms: i64) -> f64 {
        self.time.at(at_ms as f64)
    }

    /// A scale that runs up the row.
    fn up(&self, from: f64, to: f64) -> Scale {
        Scale { from, to, at_from: self.bottom(), at_to: self.top }
    }

    /// The frame with its name and the marks of its scale at the left.
    pub(super) fn frame(&self, svg: &mut Svg, name: &str, scale: Scale, unit: &str) {
        let (left, right) = (self.time.at_from, self.time.at_to);
        for tick in scale.ticks(4.0) {
            let y = scale.at(tick);
            svg.line([left, y], [right, y], "stroke='#e4e4e4'");
            svg.text([left - 6.0, y + 3.5], 10.0, Anchor::End, "fill='#555'", &number(tick));
        }
        svg.rect([left, self.top, right - left, self.height], "fill='none' stroke='#999'");
        svg.text([12.0, self.top + 14.0], 13.0, Anchor::Start, "font-weight='bold'", name);
        svg.text([12.0, self.top + 29.0], 10.0, Anchor::Start, "fill='#555'", unit);
    }

    /// One basin: standing water as an area against the right scale, moisture as a line against the left one, the
    /// floats' wet times as bars along the lower edge.
    pub(super) fn basin(&self, svg: &mut Svg, basin: &BasinTrace, moisture: (f64, f64), standing_mm: f64) {
        let contents = self.up(moisture.0, moisture.1);
        let heights = self.up(0.0, standing_mm);
        self.frame(svg, &basin.name, contents, "moisture, m³/m³");
        self.right_scale(svg, heights);
        let mut area = thin(&basin.standing, &self.time, &heights);
        if let (Some(first), Some(last)) = (area.first().copied(), area.last().copied()) {
            area.insert(0, [first[0], self.bottom()]);
            area.push([last[0], self.bottom()]);
            svg.path(&area, &format!("fill='{WATER}' fill-opacity='0.75'"));
        }
        if let Some(height_mm) = basin.float_height_mm {
            let y = heights.at(height_mm);
            let style = "stroke='#2b7a94' stroke-dasharray='5 4' stroke-width='0.8'";
            svg.line([self.time.at_from, y], [self.time.at_to, y], style);
        }
        let line = format!("fill='none' stroke='{MOISTURE}' stroke-width='1.1'");
        for run in runs(&basin.moisture) {
            svg.path(&thin(run, &self.time, &contents), &line);
        }
        self.wet_times(svg, &basin.float, self.bottom() - 5.0, FLOAT);
        self.wet_times(svg, &basin.overflow, self.bottom() - 10.0, OVERFLOW);
    }

    /// Doses as bars stacked by basin.
    pub(super) fn doses(&self, svg: &mut Svg, doses: &[DoseBar], most_l: f64) {
        let litres = self.up(0.0, most_l);
        self.frame(svg, "doses", litres, "litres");
        for dose in doses {
            let mut sum = 0.0;
            let colours = (0..dose.basin_litres.len()).map(colour).chain([SEWER]);
            for (part, colour) in dose.basin_litres.iter().chain([&dose.sewer_litres]).zip(colours) {
                let (low, high) = (litres.at(sum), litres.at(sum + part));
                sum += part;
                svg.rect([self.x(dose.start_ms), high, 1.6, low - high], &format!("fill='{colour}'"));
            }
        }
    }

    /// Each basin's share of each dose as a dot.
    pub(super) fn shares(&self, svg: &mut Svg, doses: &[DoseBar]) {
        let shared = |dose: &&DoseBar| dose.basin_litres.iter().sum::<f64>() >= SHARED_FROM_L;
        let share = |dose: &DoseBar, part: f64| part / dose.basin_litres.iter().sum::<f64>();
        let largest = doses
            .iter()
            .filter(shared)
            .flat_map(|dose| dose.basin_litres.iter().map(|part| share(dose, *part)));
        let scale = self.up(0.0, (1.1 * largest.fold(0.3, f64::max)).min(1.0));
        self.frame(svg, "shares", scale, "of each dose, true");
        for dose in doses.iter().filter(shared) {
            for (index, part) in dose.basin_litres.iter().enumerate() {
                let at = [self.x(dose.start_ms), scale.at(share(dose, *part))];
                svg.circle(at, 1.5, &format!("fill='{}' fill-opacity='0.7'", colour(index)));
            }
        }
    }

    /// Rain as bars, one for each stretch of `bin_ms`.
    pub(super) fn rain(&self, svg: &mut Svg, input: &PlotInput, bin_ms: i64) {
        let bins = (input.end_ms - input.start_ms).div_euclid(bin_ms) as usize + 1;
        let mut fallen = vec![0.0; bins];
        for (at_ms, mm) in &input.rain {
            let bin = (at_ms - input.start_ms).div_euclid(bin_ms);
            if let Some(sum) = usize::try_from(bin).ok().and_then(|bin| fallen.get_mut(bin)) {
                *sum += mm;
            }
        }
        let most = super::axis::round_up(fallen.iter().copied().fold(1.0, f64::max));
        let scale = self.up(0.0, most);
        let unit = if bin_ms >= 86_400_000 { "mm a day" } else { "mm an hour" };
        self.frame(svg, "rain", scale, unit);
        for (bin, mm) in fallen.iter().enumerate().filter(|(_, mm)| **mm > 0.0) {
            let from = self.x(input.start_ms + bin as i64 * bin_ms);
            let to = self.x(input.start_ms + (bin as i64 + 1) * bin_ms);
            let y = scale.at(*mm);
            svg.rect([from, y, (to - from).max(1.5), self.bottom() - y], &format!("fill='{RAIN}'"));
        }
    }

    /// A fault's time as a wedge that rises while the fault grows.
    pub(super) fn fault(&self, svg: &mut Svg, fault: &FaultBand, label: bool) {
        let from_ms = fault.start_ms.max(self.time.from as i64);
        let until_ms = fault.end_ms.unwrap_or(i64::MAX).min(self.time.to as i64);
        if until_ms <= from_ms {
            return;
        }
        let reached = |at_ms: i64| {
            let growing_ms = fault.full_ms - fault.start_ms;
            let part =
                if at_ms < fault.full_ms { (at_ms - fault.start_ms) as f64 / growing_ms as f64 } else { 1.0 };
            self.bottom() - self.height * part
        };
        let full_ms = fault.full_ms.clamp(from_ms, until_ms);
        let edge = [from_ms, full_ms, until_ms].map(|at_ms| [self.x(at_ms), reached(at_ms)]);
        let (start, end) = (edge[0][0], edge[2][0]);
        let wedge = [&[[start, self.bottom()]][..], &edge, &[[end, self.bottom()]]].concat();
        svg.path(&wedge, &format!("fill='{FAULT}' fill-opacity='0.22'"));
        if label {
            svg.line([start, self.top], [start, self.bottom()], &format!("stroke='{FAULT}'"));
            svg.text([start + 4.0, self.top + 11.0], 10.0, Anchor::Start, "fill='#8a5a10'", &fault.label);
        }
    }

    /// The times for which findings of one name stood, as bars on a lane of their own: a dot where each was raised, the
    /// name where the first begins.
    pub(super) fn findings(&self, svg: &mut Svg, lane: usize, name: &str, spans: &[&FindingSpan]) {
        let y = self.top + 26.0 + LANE * lane as f64;
        for span in spans {
            let (from, until) = self.shown(span);
            let colour = severity_colour(span.severity);
            svg.rect([from, y - 2.0, (until - from).max(1.5), 4.0], &format!("fill='{colour}'"));
            if span.from_ms as f64 >= self.time.from {
                svg.circle([from, y], 3.0, &format!("fill='{colour}'"));
            }
        }
        let Some(first) = spans.first() else { return };
        let x = self.shown(first).0;
        let near_edge = x > self.time.at_to - 150.0;
        let (at, anchor) =
            if near_edge { (self.time.at_to - 3.0, Anchor::End) } else { (x - 2.0, Anchor::Start) };
        let style = format!(
            "fill='{}' font-weight='bold' stroke='#fff' stroke-width='3' paint-order='stroke'",
            severity_colour(first.severity)
        );
        svg.text([at, y - 5.0], 10.0, anchor, &style, name);
    }

    /// Where a finding's bar begins and ends, within the row.
    fn shown(&self, span: &FindingSpan) -> (f64, f64) {
        let until_ms = span.until_ms.map_or(self.time.to, |ms| ms as f64).min(self.time.to);
        (self.time.at((span.from_ms as f64).max(self.time.from)), self.time.at(until_ms))
    }

    fn right_scale(&self, svg: &mut Svg, scale: Scale) {
        for tick in scale.ticks(3.0) {
            let at = [self.time.at_to + 6.0, scale.at(tick) + 3.5];
            svg.text(at, 10.0, Anchor::Start, "fill='#2b7a94'", &format!("{tick:.0} mm"));
        }
    }

    fn wet_times(&self, svg: &mut Svg, changes: &[(i64, bool)], y: f64, colour: &str) {
        let ends = changes.iter().skip(1).map(|(at_ms, _)| *at_ms).chain([self.time.to as i64]);
        for ((from_ms, wet), until_ms) in changes.iter().zip(ends) {
            if *wet {
                let (from, until) = (self.x(*from_ms), self.x(until_ms));
                svg.rect([from, y, (until - from).max(1.2), 4.0], &format!("fill='{colour}'"));
            }
        }
    }
}

/// What the marks mean and the basins in their colours, from `top` down between `left` and `right`. Returns where the
/// legend ends.
pub(super) fn legend(svg: &mut Svg, [left, right]: [f64; 2], top: f64, basins: &[BasinTrace]) -> f64 {
    let marks = [
        (MOISTURE, "moisture (probe)"),
        (WATER, "standing water (true, right scale)"),
        (FLOAT, "float wet"),
        (OVERFLOW, "overflow float wet"),
        (FAULT, "fault (true)"),
        (RAIN, "rain"),
        (SEWER, "to sewer"),
    ];
    let names = basins.iter().enumerate().map(|(index, basin)| (colour(index), basin.name.as_str()));
    let (mut x, mut y) = (left, top + 10.0);
    for (colour, name) in marks.into_iter().chain(names) {
        let width = 34.0 + 6.1 * name.chars().count() as f64;
        if x + width > right {
            (x, y) = (left, y + 16.0);
        }
        svg.rect([x, y - 8.0, 12.0, 9.0], &format!("fill='{colour}'"));
        svg.text([x + 16.0, y], 11.0, Anchor::Start, "", name);
        x += width;
    }
    y
}

fn severity_colour(severity: Severity) -> &'static str {
    match severity {
        Severity::Info => "#6c757d",
        Severity::Warning => "#b06000",
        Severity::Critical => "#b3261e",
    }
}

fn colour(basin: usize) -> &'static str {
    BASINS[basin % BASINS.len()]
}

/// A tick's value without needless noughts.
fn number(value: f64) -> String {
    let text = format!("{value:.2}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// Stretches of a series without long silences: a gap of more than six times the usual interval parts them.
fn runs(series: &[(i64, f64)]) -> impl Iterator<Item = &[(i64, f64)]> {
    let mut intervals: Vec<i64> = series.windows(2).map(|pair| pair[1].0 - pair[0].0).collect();
    intervals.sort_unstable();
    let longest = intervals.get(intervals.len() / 2).map_or(i64::MAX, |usual| usual.saturating_mul(6));
    series.chunk_by(move |a, b| b.0 - a.0 <= longest)
}

/// A series as points, thinned to its first, lowest, highest and last value in each pixel's width.
fn thin(series: &[(i64, f64)], time: &Scale, values: &Scale) -> Vec<[f64; 2]> {
    let column = |at_ms: i64| time.at(at_ms as f64).floor() as i64;
    let inside = |(at_ms, _): &&(i64, f64)| (time.from..=time.to).contains(&(*at_ms as f64));
    let kept: Vec<(i64, f64)> = series.iter().filter(inside).copied().collect();
    let mut points = Vec::new();
    for pixel in kept.chunk_by(|a, b| column(a.0) == column(b.0)) {
        let by_value = |a: &&(i64, f64), b: &&(i64, f64)| a.1.total_cmp(&b.1);
        let chosen =
            [pixel.first(), pixel.iter().min_by(by_value), pixel.iter().max_by(by_value), pixel.last()];
        let mut chosen: Vec<(i64, f64)> = chosen.into_iter().flatten().copied().collect();
        chosen.sort_by_key(|(at_ms, _)| *at_ms);
        chosen.dedup();
        points.extend(chosen.iter().map(|(at_ms, value)| [time.at(*at_ms as f64), values.at(*value)]));
    }
    points
}

#[cfg(test)]
mod tests {
    use super::{Scale, runs, thin};

    #[test]
    fn thinning_keeps_every_extreme() {
        let series: Vec<(i64, f64)> = (0..10_000).map(|i| (i, if i == 4321 { 9.0 } else { 0.0 })).collect();
        let time = Scale { from: 0.0, to: 10_000.0, at_from: 0.0, at_to: 100.0 };
        let values = Scale { from: 0.0, to: 10.0, at_from: 10.0, at_to: 0.0 };
        let points = thin(&series, &time, &values);
        assert!(points.len() <= 400);
        assert!(points.iter().any(|[_, y]| (*y - 1.0).abs() < 1e-9));
    }

    #[test]
    fn silence_breaks_the_line() {
        let series = [(0, 1.0), (5, 1.0), (10, 1.0), (100, 1.0), (105, 1.0)];
        assert_eq!(runs(&series).map(<[_]>::len).collect::<Vec<_>>(), [3, 2]);
    }
}
