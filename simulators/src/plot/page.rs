//! The page: rows below one another over one axis of local days.

use super::axis::{Scale, days, round_up};
use super::input::{FindingSpan, PlotInput};
use super::panels::{Row, legend};
use super::svg::{Anchor, Svg};

const WIDTH: f64 = 1600.0;
const LEFT: f64 = 130.0;
const RIGHT: f64 = 60.0;
const GAP: f64 = 12.0;
const BASIN_HEIGHT: f64 = 140.0;
const DOSES_HEIGHT: f64 = 110.0;
const SHARES_HEIGHT: f64 = 100.0;
const RAIN_HEIGHT: f64 = 60.0;

/// Draws a scenario as an SVG document: a row for each basin with its moisture, standing water and floats; then the
/// doses, every basin's share of them, and rain; faults as wedges and findings as bars.
pub fn plot(input: &PlotInput) -> String {
    let mut svg = Svg::new(WIDTH);
    let time = Scale {
        from: input.start_ms as f64,
        to: input.end_ms.max(input.start_ms + 1) as f64,
        at_from: LEFT,
        at_to: WIDTH - RIGHT,
    };
    svg.text([12.0, 24.0], 18.0, Anchor::Start, "font-weight='bold'", &input.title);
    svg.text([12.0, 44.0], 12.0, Anchor::Start, "fill='#555'", &input.subtitle);
    let header = legend(&mut svg, [12.0, WIDTH - RIGHT], 54.0, &input.basins) + 14.0;

    let mut top = header;
    let mut next = |height: f64| {
        let row = Row { time, top, height };
        top += height + GAP;
        row
    };
    let (moisture, standing_mm) = (moisture_range(input), standing_range(input));
    for (index, basin) in input.basins.iter().enumerate() {
        let row = next(BASIN_HEIGHT);
        let concerns = |basins: &[usize]| basins.is_empty() || basins.contains(&index);
        input.faults.iter().filter(|fault| concerns(&fault.basins)).for_each(|fault| {
            row.fault(&mut svg, fault, !fault.basins.is_empty());
        });
        row.basin(&mut svg, basin, moisture, standing_mm);
        findings(&mut svg, &row, &input.findings, Some(index));
    }
    let row = next(DOSES_HEIGHT);
    input
        .faults
        .iter()
        .filter(|fault| fault.basins.is_empty())
        .for_each(|fault| row.fault(&mut svg, fault, true));
    let litres = |dose: &super::input::DoseBar| dose.basin_litres.iter().sum::<f64>() + dose.sewer_litres;
    row.doses(&mut svg, &input.doses, round_up(input.doses.iter().map(litres).fold(10.0, f64::max)));
    findings(&mut svg, &row, &input.findings, None);
    next(SHARES_HEIGHT).shares(&mut svg, &input.doses);
    let long = input.end_ms - input.start_ms > 20 * 86_400_000;
    next(RAIN_HEIGHT).rain(&mut svg, input, if long { 86_400_000 } else { 3_600_000 });

    let bottom = top - GAP;
    for (at_ms, name) in days(&input.timezone, input.start_ms, input.end_ms, 24.0) {
        let x = time.at(at_ms as f64);
        svg.line([x, header], [x, bottom], "stroke='#000' stroke-opacity='0.08'");
        svg.line([x, bottom], [x, bottom + 5.0], "stroke='#555'");
        svg.text([x, bottom + 18.0], 11.0, Anchor::Middle, "fill='#333'", &name);
    }
    svg.finish(bottom + 30.0)
}

/// Draws the findings of one row that stood within the picture, those of one name on one lane.
fn findings(svg: &mut Svg, row: &Row, all: &[FindingSpan], basin: Option<usize>) {
    let (from, to) = (row.time.from as i64, row.time.to as i64);
    let mut lanes: Vec<(&str, Vec<&FindingSpan>)> = Vec::new();
    let within = |span: &&FindingSpan| span.from_ms <= to && span.until_ms.is_none_or(|until| until >= from);
    for span in all.iter().filter(|span| span.basin == basin).filter(within) {
        match lanes.iter_mut().find(|(name, _)| *name == span.label) {
            Some((_, spans)) => spans.push(span),
            None => lanes.push((&span.label, vec![span])),
        }
    }
    for (lane, (name, spans)) in lanes.iter().enumerate() {
        row.findings(svg, lane, name, spans);
    }
}

/// The range of moisture that all rows share: what occurs, to the nearest 0.05 outside.
fn moisture_range(input: &PlotInput) -> (f64, f64) {
    let values = || input.basins.iter().flat_map(|basin| basin.moisture.iter().map(|(_, value)| *value));
    let (low, high) = (values().fold(f64::INFINITY, f64::min), values().fold(f64::NEG_INFINITY, f64::max));
    if low > high {
        return (0.0, 0.5);
    }
    (((low / 0.05).floor() * 0.05).max(0.0), ((high / 0.05).ceil() * 0.05).clamp(0.1, 1.0))
}

/// The height of standing water that all rows share.
fn standing_range(input: &PlotInput) -> f64 {
    let heights = input.basins.iter().flat_map(|basin| basin.standing.iter().map(|(_, mm)| *mm));
    let floats = input.basins.iter().filter_map(|basin| basin.float_height_mm);
    round_up(heights.chain(floats).fold(50.0, f64::max) * 1.05)
}

#[cfg(test)]
mod tests {
    use jiff::tz::TimeZone;

    use super::plot;
    use crate::plot::{BasinTrace, DoseBar, FaultBand, FindingSpan, PlotInput, Severity};

    const DAY_MS: i64 = 86_400_000;

    fn empty(days: i64) -> PlotInput {
        PlotInput {
            title: "quince & fig".to_owned(),
            subtitle: String::new(),
            start_ms: 0,
            end_ms: days * DAY_MS,
            timezone: TimeZone::UTC,
            basins: vec![],
            doses: vec![],
            rain: vec![],
            faults: vec![],
            findings: vec![],
        }
    }

    #[test]
    fn nothing_to_show_is_still_a_page() {
        for days in [0, 1, 400] {
            let svg = plot(&empty(days));
            assert!(svg.starts_with("<svg ") && svg.trim_end().ends_with("</svg>"));
            assert!(svg.contains("quince &amp; fig") && !svg.contains("NaN"), "{svg}");
        }
    }

    #[test]
    fn a_year_of_readings_makes_a_page_of_bounded_size() {
        let readings: Vec<(i64, f64)> =
            (0..365 * 288).map(|i| (i * 300_000, 0.3 + 0.1 * (i as f64).sin())).collect();
        let basin = BasinTrace {
            name: "quince".to_owned(),
            moisture: readings.clone(),
            standing: readings,
            float: vec![(0, false), (40 * DAY_MS, true), (41 * DAY_MS, false)],
            float_height_mm: Some(40.0),
            overflow: vec![],
        };
        let finding = |day: i64, label: &str| FindingSpan {
            from_ms: day * DAY_MS,
            until_ms: Some((day + 1) * DAY_MS),
            label: label.to_owned(),
            basin: Some(0),
            severity: Severity::Warning,
        };
        let input = PlotInput {
            basins: vec![basin],
            doses: vec![DoseBar { start_ms: DAY_MS, basin_litres: vec![60.0], sewer_litres: 0.0 }],
            rain: vec![(2 * DAY_MS, 4.0)],
            faults: vec![FaultBand {
                label: "blocked".to_owned(),
                basins: vec![0],
                start_ms: 30 * DAY_MS,
                full_ms: 60 * DAY_MS,
                end_ms: None,
            }],
            findings: vec![finding(40, "ponding"), finding(50, "ponding"), finding(400, "too late")],
            ..empty(365)
        };
        let svg = plot(&input);
        assert!(svg.len() < 300_000, "{} bytes", svg.len());
        for text in ["quince", "blocked", ">ponding<", "1 Jan"] {
            assert!(svg.contains(text), "no {text}");
        }
        assert_eq!(svg.matches(">ponding<").count(), 1, "a lane is named once");
        assert!(!svg.contains("too late"), "outside the picture");
        assert!(!svg.contains("NaN"));
    }
}
