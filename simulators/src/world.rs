//! The whole physical world of one system, stepped through time.

use crate::fault::{Diverter, Fault, Misfit, Service};
use crate::people::Household;
use crate::site::Site;
use crate::sky::Climate;
use crate::truth::{FaultSpan, TrueDose, WaterBalance};

/// The household, the drain, the basins, the soil and the sky of one site.
///
/// The world keeps its own steps: seconds while water moves, minutes while it does not. Looking at it changes
/// nothing, so the same site, settings and seed give the same world however often it is looked at.
#[derive(Debug)]
pub struct World {
    now_ms: i64,
    basins: Vec<BasinState>,
    system: SystemState,
}

/// What is to be seen in one basin.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BasinState {
    /// Height of the water above the floor, among the mulch (mm).
    pub standing_mm: f64,
    /// Volumetric water content of the soil at the probe's depth (m³/m³); at 250 mm where there is no probe.
    pub water_content: f64,
    /// Temperature of the soil at that depth (°C).
    pub soil_temperature_c: f64,
    /// Depth of mulch left (mm).
    pub mulch_depth_mm: f64,
    /// Hydraulic resistance of the floor (h): mm of head for mm/h of flow.
    pub floor_resistance_h: f64,
}

/// What is to be seen of the system as a whole.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SystemState {
    /// Litres that have left the fixtures since the start.
    pub fixture_litres: f64,
    /// Litres that have passed the diverter towards the landscape since the start.
    pub landscape_litres: f64,
    /// Rain since the start (mm).
    pub rain_mm: f64,
    /// Position of the diverter.
    pub diverter: Diverter,
    /// Temperature of the air (°C).
    pub air_temperature_c: f64,
}

impl World {
    /// Builds the world at `start_ms` (Unix). Fails when a fault or service names a part that the site lacks or
    /// has a size out of range.
    pub fn new(
        site: &Site,
        household: &Household,
        climate: &Climate,
        faults: &[Fault],
        services: &[Service],
        start_ms: i64,
        seed: u64,
    ) -> Result<Self, Misfit> {
        for fault in faults {
            fault.kind.check(site)?;
        }
        for service in services {
            service.action.check(site)?;
        }
        let _ = (household, climate, seed);
        let basin = BasinState {
            standing_mm: 0.0,
            water_content: 0.25,
            soil_temperature_c: 15.0,
            mulch_depth_mm: 200.0,
            floor_resistance_h: 0.0,
        };
        let system = SystemState {
            fixture_litres: 0.0,
            landscape_litres: 0.0,
            rain_mm: 0.0,
            diverter: Diverter::Landscape,
            air_temperature_c: 15.0,
        };
        Ok(Self { now_ms: start_ms, basins: vec![basin; site.basins.len()], system })
    }

    /// Lets time pass until `t_ms`; a time already past changes nothing.
    pub fn advance_to(&mut self, t_ms: i64) {
        self.advance_watch(t_ms, &mut |_, _| {});
    }

    /// Like [`advance_to`](Self::advance_to), showing the world after each step of its own. Steps are at most a
    /// minute long while water moves or stands, so that a float's moment can be met.
    pub fn advance_watch(&mut self, t_ms: i64, watch: &mut dyn FnMut(i64, &World)) {
        self.now_ms = self.now_ms.max(t_ms);
        watch(self.now_ms, self);
    }

    /// The present (Unix ms).
    pub fn now_ms(&self) -> i64 {
        self.now_ms
    }

    /// State of the basin at position `index` in the site.
    pub fn basin(&self, index: usize) -> BasinState {
        self.basins[index]
    }

    /// State of the system.
    pub fn system(&self) -> SystemState {
        self.system
    }

    /// The doses that have ended since this was last asked, in order of their ends.
    pub fn take_doses(&mut self) -> Vec<TrueDose> {
        Vec::new()
    }

    /// Where all water went since the start.
    pub fn balance(&self) -> WaterBalance {
        WaterBalance::default()
    }

    /// The faults with their times, in the order given.
    pub fn faults(&self) -> Vec<FaultSpan> {
        Vec::new()
    }
}
