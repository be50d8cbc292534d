//! The lanes of the drawing.

use crate::advice::{headline, headline_past, kind_words};
use crate::desk::gather::finding::{anchor, below};
use crate::desk::gather::volume_words;
use crate::desk::sheet::{Bar, BarLane, FindingBar, SoilLane, SoilPoint, Stretch, TimeRow, Urgency};
use crate::desk::units::Units;
use crate::desk::words;
use crate::ledger::{DoseRecord, StoredFinding};
use crate::model::{BasinIx, EventTime, Place, Quantity, Span, Subject, System};

use super::TimelineRecord;
use super::rows::increments;

/// Rows that findings share; further ones lie over the last.
const FINDING_ROWS: usize = 12;
/// Up to this length each dose is a bar of its own.
const SINGLE_DOSES: Span = Span::from_days(10);

/// Moisture and standing water of the basin at `position` of the record.
pub(super) fn soil(
    system: &System,
    record: &TimelineRecord,
    position: usize,
    stretch: &Stretch,
    columns: &[TimeRow],
    now: EventTime,
) -> SoilLane {
    let ix = record.basins[position];
    let basin = system.basin(ix);
    let soil = system.soil.properties();
    let points: Vec<SoilPoint> = columns
        .iter()
        .filter_map(|row| {
            let (min, mean, max) = row.basins[position].moisture?;
            Some(SoilPoint { x: stretch.place(row.from + (row.to - row.from).scaled(0.5)), min, mean, max })
        })
        .collect();
    let low = points.iter().map(|point| point.min).fold(f64::INFINITY, f64::min);
    let high = points.iter().map(|point| point.max).fold(0.0, f64::max);
    SoilLane {
        basin: basin.id.to_string(),
        label: basin.label().to_owned(),
        extent: (!points.is_empty()).then_some((low, high)),
        top: soil.porosity.max(high),
        field_capacity: soil.field_capacity,
        runs: unbroken(&points),
        closures: closures(system, record, ix, stretch, now),
        has_probe: system.find_sensor(Place::Basin(ix), Quantity::Moisture).is_some(),
    }
}

/// Breaks a course where much more time passed than usually does between its points.
fn unbroken(points: &[SoilPoint]) -> Vec<Vec<SoilPoint>> {
    let mut gaps: Vec<f64> = points.windows(2).map(|pair| pair[1].x - pair[0].x).collect();
    gaps.sort_by(f64::total_cmp);
    let usual = gaps.get(gaps.len() / 2).copied().unwrap_or(1.0);
    points.chunk_by(|a, b| b.x - a.x <= 4.0 * usual).map(<[SoilPoint]>::to_vec).collect()
}

fn closures(
    system: &System,
    record: &TimelineRecord,
    basin: BasinIx,
    stretch: &Stretch,
    now: EventTime,
) -> Vec<Bar> {
    record
        .closures(system, basin)
        .filter(|(began, ended)| *ended > stretch.from && *began < stretch.to)
        .map(|(began, ended)| {
            let (x, width) = clip(stretch, began, ended);
            let since = words::moment(began, now, &system.zone).words;
            let words = format!("Water stood for {} from {since}", words::span(ended - began));
            Bar { x, width, height: 1.0, words, faint: false }
        })
        .collect()
}

/// Place and width of what lasted from `began` to `ended`.
fn clip(stretch: &Stretch, began: EventTime, ended: EventTime) -> (f64, f64) {
    let x = stretch.place(began.max(stretch.from));
    (x, (stretch.place(ended.min(stretch.to)) - x).max(0.0))
}

/// Doses one by one, or what they brought in each of the `steps`.
pub(super) fn water(
    system: &System,
    record: &TimelineRecord,
    stretch: &Stretch,
    steps: &[TimeRow],
    units: Units,
    now: EventTime,
) -> BarLane {
    if record.doses.is_empty() && !record.meter.is_empty() {
        return metered(system, record, stretch, steps, units);
    }
    if stretch.length() <= SINGLE_DOSES {
        return single_doses(system, &record.doses, stretch, units, now);
    }
    let is_measured = record.doses.iter().all(|dose| dose.litres.is_some());
    let amount = |row: &TimeRow| {
        if is_measured { row.litres.unwrap_or(0.0) } else { row.doses as f64 }
    };
    let words = |row: &TimeRow, amount: f64| {
        let doses =
            if row.doses == 1 { "one dose".to_owned() } else { format!("{} doses", words::count(row.doses)) };
        if is_measured {
            format!("{doses}, {}, {}", volume_words(system, amount, units), row.words)
        } else {
            format!("{doses}, {}", row.words)
        }
    };
    let name =
        if is_measured { format!("Water received, {}", units.volume_unit()) } else { "Doses".to_owned() };
    let tell = |amount: f64| {
        if is_measured { volume_words(system, amount, units) } else { words::grouped(amount as u64) }
    };
    bars(name, stretch, steps, amount, words, tell)
}

fn single_doses(
    system: &System,
    doses: &[DoseRecord],
    stretch: &Stretch,
    units: Units,
    now: EventTime,
) -> BarLane {
    let highest = doses.iter().filter_map(|dose| dose.litres).fold(0.0, f64::max);
    let bar = |dose: &DoseRecord| {
        let when = words::moment(dose.at, now, &system.zone).words;
        let volume = dose
            .litres
            .map_or_else(String::new, |litres| format!(" of {}", volume_words(system, litres, units)));
        let rain = if dose.quality <= 0.0 { ", with rain" } else { "" };
        Bar {
            x: stretch.place(dose.at),
            width: 0.0,
            height: dose.litres.map_or(0.5, |litres| litres / highest.max(1.0)),
            words: format!("Dose{volume}, {when}{rain}"),
            faint: dose.quality <= 0.0 || dose.litres.is_none(),
        }
    };
    BarLane {
        name: "Doses".to_owned(),
        highest: (highest > 0.0).then(|| units.volume_told(highest, !system.source.is_metered())),
        bars: doses.iter().filter(|dose| dose.at >= stretch.from && dose.at < stretch.to).map(bar).collect(),
    }
}

/// Litres by the meter, for a system whose probes tell nothing of doses.
fn metered(
    system: &System,
    record: &TimelineRecord,
    stretch: &Stretch,
    steps: &[TimeRow],
    units: Units,
) -> BarLane {
    let litres_per_count = system.source.litres_per_count.unwrap_or(1.0);
    let mut litres = vec![0.0; steps.len()];
    for (at, counts) in increments(&record.meter) {
        let at = at + record.bin_width.scaled(0.5);
        let step = steps.partition_point(|row| row.to <= at);
        if step < steps.len() && at >= steps[step].from {
            litres[step] += counts * litres_per_count;
        }
    }
    let name = format!("Water by the meter, {}", units.volume_unit());
    let mut next = litres.into_iter();
    let amount = move |_: &TimeRow| next.next().unwrap_or(0.0);
    let words = |row: &TimeRow, litres: f64| format!("{}, {}", units.volume(litres), row.words);
    bars(name, stretch, steps, amount, words, |litres| units.volume(litres))
}

/// Rain in each of the `steps`.
pub(super) fn rain(stretch: &Stretch, steps: &[TimeRow], units: Units) -> BarLane {
    let name = format!("Rain, {}", units.depth_unit());
    let words = |row: &TimeRow, mm: f64| format!("{}, {}", units.rain(mm), row.words);
    bars(name, stretch, steps, |row| row.rain_mm.unwrap_or(0.0), words, |mm| units.rain(mm))
}

fn bars(
    name: String,
    stretch: &Stretch,
    steps: &[TimeRow],
    amount: impl FnMut(&TimeRow) -> f64,
    words: impl Fn(&TimeRow, f64) -> String,
    tell: impl Fn(f64) -> String,
) -> BarLane {
    let amounts: Vec<f64> = steps.iter().map(amount).collect();
    let highest = amounts.iter().copied().fold(0.0, f64::max);
    let bars = steps.iter().zip(amounts).filter(|(_, amount)| *amount > 0.0).map(|(row, amount)| {
        let (x, width) = clip(stretch, row.from, row.to);
        Bar { x, width, height: amount / highest, words: words(row, amount), faint: false }
    });
    BarLane { name, highest: (highest > 0.0).then(|| tell(highest)), bars: bars.collect() }
}

/// Findings that were open within the stretch, so that no two overlap.
pub(super) fn findings(
    system: &System,
    TimelineRecord { findings, basins, .. }: &TimelineRecord,
    stretch: &Stretch,
    now: EventTime,
) -> Vec<FindingBar> {
    let mut sorted: Vec<&StoredFinding> = findings
        .iter()
        .filter(|f| f.raised_at < stretch.to && f.cleared_at.is_none_or(|cleared| cleared > stretch.from))
        .collect();
    sorted.sort_by_key(|finding| finding.raised_at);
    let mut ends = [f64::NEG_INFINITY; FINDING_ROWS];
    sorted
        .into_iter()
        .map(|stored| {
            let ended = stored.cleared_at.unwrap_or(now);
            let (x, width) = clip(stretch, stored.raised_at, ended);
            let row = ends.iter().position(|end| *end <= x).unwrap_or(FINDING_ROWS - 1);
            ends[row] = x + width.max(0.005);
            FindingBar {
                x,
                width,
                row,
                urgency: Urgency::of(stored.finding.severity),
                words: finding_words(system, stored, now),
                short: short(system, stored, basins.len() > 1),
                href: match stored.cleared_at {
                    None => format!(
                        "/systems/{}#{}",
                        system.id,
                        anchor(&stored.system, stored.finding.kind, &stored.finding.subject)
                    ),
                    Some(_) => format!("/systems/{}#past", system.id),
                },
                open: stored.cleared_at.is_none(),
            }
        })
        .collect()
}

/// `soaking slowly`, or `soaking slowly, fig` where several basins are looked at.
fn short(system: &System, stored: &StoredFinding, several: bool) -> String {
    let kind = kind_words(stored.finding.kind);
    let mut below = below(system, &stored.finding.subject).into_iter();
    let place = match (&stored.finding.subject, below.next(), below.next()) {
        (Subject::Splitter(id), ..) => Some(id.as_str()),
        (Subject::Basin(_) | Subject::Sensor(_), Some(ix), None) => Some(system.basin(ix).label()),
        (Subject::Basin(_) | Subject::Sensor(_) | Subject::Source | Subject::Diverter, ..) => None,
    };
    place.filter(|_| several).map_or_else(|| kind.to_owned(), |place| format!("{kind}, {place}"))
}

fn finding_words(system: &System, stored: &StoredFinding, now: EventTime) -> String {
    let moment = |at| words::moment(at, now, &system.zone).words;
    let raised = moment(stored.raised_at);
    match stored.cleared_at {
        Some(cleared) => {
            format!("{}, {raised} to {}", headline_past(&stored.finding, system), moment(cleared))
        }
        None => format!("{}, since {raised}", headline(&stored.finding, system)),
    }
}
