//! What truly happened: the answers that the daemon must find and never sees.

use serde::Serialize;

use crate::fault::FaultKind;

/// One discharge of water through the system, as it really went.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TrueDose {
    /// When the first water left a fixture (Unix ms).
    pub start_ms: i64,
    /// When the last water had reached the basins (Unix ms).
    pub end_ms: i64,
    /// What brought most of the water.
    pub kind: DoseKind,
    /// How many uses ran into each other.
    pub uses: u32,
    /// Litres that left the fixtures.
    pub litres: f64,
    /// Litres that went to the sewer instead.
    pub sewer_litres: f64,
    /// Litres that each basin's outlet delivered, in the site's order.
    pub basin_litres: Vec<f64>,
    /// Whether rain fell on the basins meanwhile.
    pub rain: bool,
}

impl TrueDose {
    /// The part of what reached the basins that each one got; `None` when nothing did.
    pub fn shares(&self) -> Option<Vec<f64>> {
        let all: f64 = self.basin_litres.iter().sum();
        (all > 0.0).then(|| self.basin_litres.iter().map(|litres| litres / all).collect())
    }
}

/// What brought a dose.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum DoseKind {
    /// A shower.
    Shower,
    /// A washing machine's load.
    Laundry,
    /// A hand basin.
    BasinDraw,
    /// A bathtub emptied.
    Bath,
    /// Water with no use, told once a day.
    Leak,
    /// Water run on purpose.
    FlowTest,
}

/// A fault's time in the world.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FaultSpan {
    /// What was wrong.
    pub kind: FaultKind,
    /// When it began (Unix ms).
    pub start_ms: i64,
    /// When it had reached its full size, unless mended before (Unix ms).
    pub full_ms: i64,
    /// When it ended or was mended, if it was (Unix ms).
    pub end_ms: Option<i64>,
}

/// Where all the water went since the start (litres). What came in equals what went out and what is still there.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize)]
pub struct WaterBalance {
    /// From fixtures.
    pub fixtures: f64,
    /// From seepage into the line.
    pub seepage: f64,
    /// From rain on the basins and what runs on to them.
    pub rain: f64,
    /// To the sewer through the diverter.
    pub sewer: f64,
    /// Backed up at the fixtures because the line was full.
    pub backed_up: f64,
    /// Over the rims of the basins.
    pub overflow: f64,
    /// To the air, from soil, mulch and plants.
    pub evapotranspiration: f64,
    /// Below the root zone.
    pub drainage: f64,
    /// Carried away with old mulch.
    pub removed: f64,
    /// Water now in pipes, mulch and soil less what was there at the start.
    pub storage_change: f64,
}

impl WaterBalance {
    /// All that came in.
    pub fn inflow(&self) -> f64 {
        self.fixtures + self.seepage + self.rain
    }

    /// All that went out.
    pub fn outflow(&self) -> f64 {
        self.sewer + self.backed_up + self.overflow + self.evapotranspiration + self.drainage + self.removed
    }

    /// Litres unaccounted for.
    pub fn residual(&self) -> f64 {
        self.inflow() - self.outflow() - self.storage_change
    }
}
