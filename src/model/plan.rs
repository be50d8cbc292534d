//! The parts of a system as its file describes them.

use jiff::civil::Date;

use super::{Id, Span};

/// Litres that are counted for a usual dose that nobody measured: a shower (REU 2016: 15.8 US gal).
pub const UNMEASURED_DOSE_L: f64 = 60.0;

/// A place on the site plan, metres east and north of the plan's corner.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Point {
    /// Metres along the plan.
    pub x_m: f64,
    /// Metres across the plan.
    pub y_m: f64,
}

/// A place on Earth.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Location {
    /// Degrees north.
    pub latitude: f64,
    /// Degrees east.
    pub longitude: f64,
    /// Metres above the sea.
    pub elevation_m: f64,
}

/// The fixtures that feed a system.
#[derive(Clone, Debug, PartialEq)]
pub struct Source {
    /// People in the household.
    pub people: u16,
    /// What discharges into the system, for example `showers`.
    pub fixtures: Vec<String>,
    /// Litres for one count of the meter, where there is one.
    pub litres_per_count: Option<f64>,
    /// The meter counts downstream of the diverter rather than at the fixtures.
    pub meter_after_diverter: bool,
}

impl Source {
    /// Whether a meter counts the water that comes.
    pub fn is_metered(&self) -> bool {
        self.litres_per_count.is_some()
    }
}

/// A fitting that divides one line into two.
#[derive(Clone, Debug, PartialEq)]
pub struct Splitter {
    /// Its id, unique in the system.
    pub id: Id,
    /// Fractions that sides a and b should receive; they sum to 1.
    pub split: [f64; 2],
    /// Place on the site plan.
    pub at: Option<Point>,
}

/// Size of mulch chips: the finer, the faster they rot.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Chip {
    /// Below about 10 mm.
    Fine,
    /// About 10 to 30 mm.
    Medium,
    /// Above about 30 mm.
    Coarse,
}

/// The mulch in a basin when it was last renewed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Mulch {
    /// Depth when placed, mm.
    pub depth_mm: f64,
    /// Chip size.
    pub chip: Chip,
    /// Day on which it was placed.
    pub placed: Option<Date>,
}

/// A mulch-filled hollow that receives one outlet's water.
#[derive(Clone, Debug, PartialEq)]
pub struct Basin {
    /// Its id, unique in the system.
    pub id: Id,
    /// What grows there.
    pub plant: Option<String>,
    /// Floor area, m².
    pub area_m2: f64,
    /// Depth from rim to floor, mm.
    pub depth_mm: f64,
    /// Mulch.
    pub mulch: Mulch,
    /// Free fall between outlet and mulch, mm.
    pub air_gap_mm: f64,
    /// Place on the site plan.
    pub at: Option<Point>,
    /// Height of the float above the floor, mm, where there is a float.
    pub float_height_mm: Option<f64>,
    /// Height of the overflow float above the floor, mm, where there is one.
    pub overflow_height_mm: Option<f64>,
    /// Depth of the moisture probe below the floor, mm, where there is one.
    pub moisture_depth_mm: Option<f64>,
    /// How long water may stand before it is a flood, if not by the soil.
    pub flood_hold: Option<Span>,
}

impl Basin {
    /// What people call it: the plant, else the id.
    pub fn label(&self) -> &str {
        self.plant.as_deref().unwrap_or(self.id.as_str())
    }
}
