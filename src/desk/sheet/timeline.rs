//! What happened in a system over a stretch of time.
//!
//! Across, places are fractions of the stretch: 0 at its beginning, 1 at its end.

use super::{Stretch, Urgency};
use crate::model::{EventTime, Id, Span};

/// The course of things, drawn in lanes over one axis of time, and the same in rows.
#[derive(Clone, Debug, PartialEq)]
pub struct TimelineSheet {
    /// Address of the page that it is on.
    pub page: String,
    /// From when to when.
    pub stretch: Stretch,
    /// The same in words of the system's zone.
    pub words: String,
    /// Marks along the axis.
    pub ticks: Vec<Tick>,
    /// Where now is, if it is in sight.
    pub now: Option<f64>,
    /// One for each basin that has a probe or a float.
    pub soil: Vec<SoilLane>,
    /// Doses.
    pub water: BarLane,
    /// Rain, where there is a gauge.
    pub rain: Option<BarLane>,
    /// Findings that were open within the stretch.
    pub findings: Vec<FindingBar>,
    /// The same in rows, coarse enough to read.
    pub table: TimeTable,
}

/// A mark along the axis.
#[derive(Clone, Debug, PartialEq)]
pub struct Tick {
    /// Where.
    pub x: f64,
    /// What it says.
    pub words: String,
    /// May go without its words where there is little room.
    pub minor: bool,
}

/// Moisture and standing water of one basin.
#[derive(Clone, Debug, PartialEq)]
pub struct SoilLane {
    /// The basin's id.
    pub basin: String,
    /// What people call it.
    pub label: String,
    /// Unbroken stretches of moisture.
    pub runs: Vec<Vec<SoilPoint>>,
    /// Lowest and highest water content in sight, m³/m³.
    pub extent: Option<(f64, f64)>,
    /// Top of the scale, m³/m³: the soil's porosity, or the highest value above it.
    pub top: f64,
    /// What this soil holds once it has drained, m³/m³.
    pub field_capacity: f64,
    /// Times of standing water.
    pub closures: Vec<Bar>,
    /// It has a moisture probe.
    pub has_probe: bool,
}

/// Moisture within one column.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SoilPoint {
    /// Middle of the column.
    pub x: f64,
    /// Lowest, m³/m³.
    pub min: f64,
    /// Mean.
    pub mean: f64,
    /// Highest.
    pub max: f64,
}

/// Bars over an axis.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct BarLane {
    /// What is shown, with its unit.
    pub name: String,
    /// What the tallest bar stands for, in words.
    pub highest: Option<String>,
    /// The bars, in order.
    pub bars: Vec<Bar>,
}

/// One bar.
#[derive(Clone, Debug, PartialEq)]
pub struct Bar {
    /// Left edge.
    pub x: f64,
    /// Width.
    pub width: f64,
    /// Height, as a part of the lane's.
    pub height: f64,
    /// What it stands for.
    pub words: String,
    /// Known to stand for less than a full one: a dose that rain touched.
    pub faint: bool,
}

/// A finding along the axis.
#[derive(Clone, Debug, PartialEq)]
pub struct FindingBar {
    /// Left edge.
    pub x: f64,
    /// Width.
    pub width: f64,
    /// Row, from 0, so that no two overlap.
    pub row: usize,
    /// How urgent it was.
    pub urgency: Urgency,
    /// The finding, and from when to when.
    pub words: String,
    /// The finding in a few words.
    pub short: String,
    /// Where to read more.
    pub href: String,
    /// Not over yet.
    pub open: bool,
}

/// The course of things in rows.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct TimeTable {
    /// Basins: id and name.
    pub basins: Vec<(Id, String)>,
    /// There is a rain gauge.
    pub has_rain: bool,
    /// No meter counts litres.
    pub estimated: bool,
    /// One for each step of time, oldest first.
    pub rows: Vec<TimeRow>,
}

/// What happened within one step of time.
#[derive(Clone, Debug, PartialEq)]
pub struct TimeRow {
    /// Its beginning.
    pub from: EventTime,
    /// Its end.
    pub to: EventTime,
    /// The step in words.
    pub words: String,
    /// By basin.
    pub basins: Vec<BasinCell>,
    /// Doses that began within it.
    pub doses: usize,
    /// Their litres, where all of them were measured.
    pub litres: Option<f64>,
    /// Rain, mm.
    pub rain_mm: Option<f64>,
}

/// What one basin went through within a step.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct BasinCell {
    /// Lowest, mean and highest water content, m³/m³.
    pub moisture: Option<(f64, f64, f64)>,
    /// Litres received, where the doses' litres and shares are known.
    pub received_l: Option<f64>,
    /// How long water stood at the float.
    pub standing: Span,
}
