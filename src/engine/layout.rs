//! Where the engine finds things: derived from the plan, never stored.

use super::allowance::Allowance;
use super::soak::Floor;
use crate::model::{Place, Quantity, SensorIx, System};

/// Sensors and limits by basin, and the system's own sensors.
#[derive(Clone, Debug)]
pub(crate) struct Layout {
    pub(crate) basins: Vec<BasinLayout>,
    pub(crate) meter: Option<SensorIx>,
    pub(crate) meter_after_diverter: Option<SensorIx>,
    pub(crate) rain: Option<SensorIx>,
}

/// Sensors and limits of one basin.
#[derive(Clone, Copy, Debug)]
pub(crate) struct BasinLayout {
    pub(crate) float: Option<SensorIx>,
    pub(crate) overflow: Option<SensorIx>,
    pub(crate) moisture: Option<SensorIx>,
    pub(crate) allowance: Allowance,
    /// The floor below the float, where there is one.
    pub(crate) floor: Option<Floor>,
}

impl Layout {
    pub(crate) fn of(system: &System) -> Self {
        let basins = system.basin_ixs().map(|ix| BasinLayout {
            float: system.find_sensor(Place::Basin(ix), Quantity::Float),
            overflow: system.find_sensor(Place::Basin(ix), Quantity::Overflow),
            moisture: system.find_sensor(Place::Basin(ix), Quantity::Moisture),
            allowance: Allowance::of(system.basin(ix), system.soil),
            floor: system.basin(ix).float_height_mm.map(|mm| Floor::of(system.basin(ix), system.soil, mm)),
        });
        let own = |quantity| system.find_sensor(Place::System, quantity);
        Self {
            basins: basins.collect(),
            meter: own(Quantity::Meter),
            meter_after_diverter: own(Quantity::Meter).filter(|_| system.source.meter_after_diverter),
            rain: own(Quantity::Rain),
        }
    }
}
