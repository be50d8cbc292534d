//! The world as the rest of the simulator sees it.

use super::yard::Yard;
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
    yard: Yard,
    before: View,
    after: View,
    now_ms: i64,
}

/// What is to be seen at the end of one step.
#[derive(Debug)]
struct View {
    at_ms: i64,
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
        let yard = Yard::new(site, household, climate, faults, services, start_ms, seed);
        Ok(Self { before: View::of(&yard), after: View::of(&yard), now_ms: start_ms, yard })
    }

    /// Lets time pass until `t_ms`; a time already past changes nothing.
    pub fn advance_to(&mut self, t_ms: i64) {
        self.advance_watch(t_ms, &mut |_, _| {});
    }

    /// Like [`advance_to`](Self::advance_to), showing the world after each step of its own. Steps are at most a
    /// minute long while water moves or stands, so that a float's moment can be met.
    pub fn advance_watch(&mut self, t_ms: i64, watch: &mut dyn FnMut(i64, &World)) {
        loop {
            if self.after.at_ms > self.now_ms && self.after.at_ms <= t_ms {
                self.now_ms = self.after.at_ms;
                watch(self.now_ms, self);
            }
            if self.after.at_ms >= t_ms {
                break;
            }
            self.yard.step(i64::MAX);
            std::mem::swap(&mut self.before, &mut self.after);
            self.after.look(&self.yard);
        }
        self.now_ms = self.now_ms.max(t_ms);
    }

    /// The present (Unix ms).
    pub fn now_ms(&self) -> i64 {
        self.now_ms
    }

    /// State of the basin at position `index` in the site.
    pub fn basin(&self, index: usize) -> BasinState {
        let (before, after) = (&self.before.basins[index], &self.after.basins[index]);
        let part = self.part();
        let between = |of: fn(&BasinState) -> f64| of(before) + (of(after) - of(before)) * part;
        BasinState {
            standing_mm: between(|basin| basin.standing_mm),
            water_content: between(|basin| basin.water_content),
            soil_temperature_c: between(|basin| basin.soil_temperature_c),
            mulch_depth_mm: between(|basin| basin.mulch_depth_mm),
            floor_resistance_h: between(|basin| basin.floor_resistance_h),
        }
    }

    /// State of the system.
    pub fn system(&self) -> SystemState {
        let (before, after) = (&self.before.system, &self.after.system);
        let part = self.part();
        let between = |of: fn(&SystemState) -> f64| of(before) + (of(after) - of(before)) * part;
        SystemState {
            fixture_litres: between(|system| system.fixture_litres),
            landscape_litres: between(|system| system.landscape_litres),
            rain_mm: between(|system| system.rain_mm),
            diverter: if part < 1.0 { before.diverter } else { after.diverter },
            air_temperature_c: between(|system| system.air_temperature_c),
        }
    }

    /// The doses that have ended since this was last asked, in order of their ends.
    pub fn take_doses(&mut self) -> Vec<TrueDose> {
        self.yard.take_doses(self.now_ms)
    }

    /// Where all water went since the start, as of the world's own last step.
    pub fn balance(&self) -> WaterBalance {
        self.yard.balance()
    }

    /// The faults with their times, in the order given.
    pub fn faults(&self) -> Vec<FaultSpan> {
        self.yard.faults()
    }

    /// How far the present lies between the last two steps, 0 to 1.
    fn part(&self) -> f64 {
        let length = self.after.at_ms - self.before.at_ms;
        if length == 0 { 1.0 } else { (self.now_ms - self.before.at_ms) as f64 / length as f64 }
    }
}

impl View {
    fn of(yard: &Yard) -> Self {
        let basins = (0..yard.basin_count()).map(|index| yard.see_basin(index)).collect();
        Self { at_ms: yard.now_ms(), basins, system: yard.see_system() }
    }

    /// Sees the yard anew.
    fn look(&mut self, yard: &Yard) {
        self.at_ms = yard.now_ms();
        self.system = yard.see_system();
        for (index, basin) in self.basins.iter_mut().enumerate() {
            *basin = yard.see_basin(index);
        }
    }
}
