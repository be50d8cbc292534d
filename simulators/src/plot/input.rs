//! What a picture is drawn from.

use jiff::tz::TimeZone;

/// Everything a picture shows. Times are Unix milliseconds; series are in order of time.
#[derive(Debug, Clone, PartialEq)]
pub struct PlotInput {
    /// First line above the picture.
    pub title: String,
    /// Second line, smaller.
    pub subtitle: String,
    /// Left edge.
    pub start_ms: i64,
    /// Right edge, after the left one.
    pub end_ms: i64,
    /// The zone of the days along the lower edge.
    pub timezone: TimeZone,
    /// One row each, in this order.
    pub basins: Vec<BasinTrace>,
    /// The doses.
    pub doses: Vec<DoseBar>,
    /// Rain that fell at a time (mm).
    pub rain: Vec<(i64, f64)>,
    /// What was truly wrong.
    pub faults: Vec<FaultBand>,
    /// What was found.
    pub findings: Vec<FindingSpan>,
}

/// What is known of one basin.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct BasinTrace {
    /// Name at the left.
    pub name: String,
    /// Water content as the probe reported it (m³/m³).
    pub moisture: Vec<(i64, f64)>,
    /// Height of standing water above the floor as it truly was (mm).
    pub standing: Vec<(i64, f64)>,
    /// Changes of the float's reported state; true is wet.
    pub float: Vec<(i64, bool)>,
    /// Height of the float above the floor (mm), where there is one.
    pub float_height_mm: Option<f64>,
    /// Changes of the overflow float's reported state.
    pub overflow: Vec<(i64, bool)>,
}

/// One dose.
#[derive(Debug, Clone, PartialEq)]
pub struct DoseBar {
    /// When it began.
    pub start_ms: i64,
    /// Litres that each basin got, in the order of the rows.
    pub basin_litres: Vec<f64>,
    /// Litres that went to the sewer.
    pub sewer_litres: f64,
}

/// The time of a fault.
#[derive(Debug, Clone, PartialEq)]
pub struct FaultBand {
    /// What it was.
    pub label: String,
    /// The rows it concerns; empty for all.
    pub basins: Vec<usize>,
    /// When it began.
    pub start_ms: i64,
    /// When it had reached its full size.
    pub full_ms: i64,
    /// When it ended, if it did.
    pub end_ms: Option<i64>,
}

/// The time for which a finding stood.
#[derive(Debug, Clone, PartialEq)]
pub struct FindingSpan {
    /// When it was raised.
    pub from_ms: i64,
    /// When it was cleared, if it was.
    pub until_ms: Option<i64>,
    /// What was found.
    pub label: String,
    /// The row it concerns, if it concerns one.
    pub basin: Option<usize>,
    /// How bad it is.
    pub severity: Severity,
}

/// How bad a finding is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Severity {
    /// Good to know.
    Info,
    /// Needs work.
    Warning,
    /// Needs work now.
    Critical,
}
