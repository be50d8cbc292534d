//! One basin: water among the mulch, the floor, and the soil below.

use super::mulch::Mulch;
use super::profile::Profile;
use super::soil::{Soil, relative_fluidity};
use crate::rng::Rng;
use crate::site::{self, Texture};

/// Shortest and longest time between two reckonings of drainage (h).
const DRAIN_H: (f64, f64) = (1.0 / 120.0, 0.25);

/// How the ground of the yard is faring: the same for every basin but for its own mulch.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ground {
    /// Temperature of the soil around the basin (°C).
    pub celsius: f64,
    /// The part of its conductivity that the soil has left, 0 to 1.
    pub open: f64,
    /// Evapotranspiration now (mm/h), from the reference crop and the plant's coefficient.
    pub crop_et_mm_h: f64,
}

/// Water that a basin exchanged with the world in one step (mm over its area).
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Exchange {
    /// Over the rim.
    pub overflow_mm: f64,
    /// To the air.
    pub et_mm: f64,
    /// Below the root zone.
    pub drainage_mm: f64,
}

/// A mulch basin.
#[derive(Debug, Clone)]
pub struct Basin {
    area_m2: f64,
    depth_mm: f64,
    mulch: Mulch,
    placed_depth_mm: f64,
    chip: site::Chip,
    profile: Profile,
    /// Free water above the floor, as depth without mulch (mm).
    free_mm: f64,
    /// Water held by the chips themselves (mm).
    soaked_mm: f64,
    /// Resistance of the floor beside that of the mulch's own age (h).
    extra_resistance_h: f64,
    /// Time since drainage was last reckoned, and when it should be next (h).
    undrained_h: f64,
    drain_after_h: f64,
}

impl Basin {
    /// A basin with new mulch on soil of its own, drawn around the class.
    pub fn new(built: &site::Basin, texture: Texture, rng: &mut Rng) -> Self {
        Self::with_soil(built, Soil::drawn(texture, rng))
    }

    /// A basin with new mulch on a known soil.
    pub fn with_soil(built: &site::Basin, soil: Soil) -> Self {
        Self {
            area_m2: built.area_m2,
            depth_mm: built.depth_mm,
            mulch: Mulch::new(built.chip, built.mulch_depth_mm),
            placed_depth_mm: built.mulch_depth_mm,
            chip: built.chip,
            profile: Profile::new(soil),
            free_mm: 0.0,
            soaked_mm: 0.0,
            extra_resistance_h: 0.0,
            undrained_h: 0.0,
            drain_after_h: 0.0,
        }
    }

    /// Floor area (m²).
    pub fn area_m2(&self) -> f64 {
        self.area_m2
    }

    /// The mulch.
    pub fn mulch(&self) -> &Mulch {
        &self.mulch
    }

    /// Ages the mulch by `days` in one go, for mulch placed before the start, with `mm_per_day` of greywater.
    pub fn age_mulch(&mut self, days: f64, celsius: f64, mm_per_day: f64) {
        self.mulch.rot(days, celsius, 1.0);
        self.mulch.pass(days * mm_per_day);
    }

    /// Sets the resistance that a fault adds to the floor (h).
    pub fn set_extra_resistance_h(&mut self, resistance_h: f64) {
        self.extra_resistance_h = resistance_h;
    }

    /// The soil below.
    pub fn profile(&self) -> &Profile {
        &self.profile
    }

    /// Height of the free water above the floor (mm). Among the chips it stands higher than in the open.
    pub fn standing_mm(&self) -> f64 {
        let in_mulch = self.mulch.voids() * self.mulch.depth_mm();
        if self.free_mm <= in_mulch {
            self.free_mm / self.mulch.voids()
        } else {
            self.mulch.depth_mm() + self.free_mm - in_mulch
        }
    }

    /// Resistance of the floor (h) at 20 °C.
    pub fn floor_resistance_h(&self) -> f64 {
        self.mulch.floor_resistance_h() + self.extra_resistance_h
    }

    /// All water in the basin and its soil (mm over the area).
    pub fn water_mm(&self) -> f64 {
        self.free_mm + self.soaked_mm + self.profile.water_mm()
    }

    /// Lets `hours` pass with greywater and rain arriving meanwhile.
    pub fn step(&mut self, hours: f64, greywater_mm: f64, rain_mm: f64, ground: &Ground) -> Exchange {
        let ease = relative_fluidity(ground.celsius) * ground.open.max(1e-6);
        let mut exchange = Exchange::default();
        self.mulch.pass(greywater_mm);
        self.receive(greywater_mm + rain_mm, hours, ease);
        exchange.overflow_mm = self.spill();
        self.undrained_h += hours;
        if self.undrained_h >= self.drain_after_h {
            exchange.et_mm = self.give_to_the_air(self.undrained_h, ground);
            let crossing_h = self.profile.drain(ease, self.undrained_h);
            self.drain_after_h = (0.7 * crossing_h).clamp(DRAIN_H.0, DRAIN_H.1);
            self.undrained_h = 0.0;
        }
        exchange.drainage_mm = self.profile.take_drained_mm();
        exchange
    }

    /// Digs out mulch and fines and fills new chips in. Returns the water carried away with the old (mm).
    pub fn renew_mulch(&mut self) -> f64 {
        self.mulch = Mulch::new(self.chip, self.placed_depth_mm);
        std::mem::take(&mut self.soaked_mm)
    }

    /// Lets the mulch rot for `days`.
    pub fn rot(&mut self, days: f64, celsius: f64) {
        let wetness = (self.soaked_mm / self.mulch.soaks_up_mm().max(0.1)).min(1.0);
        self.mulch.rot(days, celsius, wetness);
    }

    /// Water arrives: a part soaks into dry chips, the rest stands on the floor and goes into it.
    fn receive(&mut self, water_mm: f64, hours: f64, ease: f64) {
        let dry_mm = (self.mulch.soaks_up_mm() - self.soaked_mm).max(0.0);
        // Most of it runs past the chips; common practice, no published source.
        let soaked = (0.3 * water_mm).min(dry_mm);
        self.soaked_mm += soaked;
        let arriving = water_mm - soaked;
        let head_mm = self.standing_mm();
        let available = self.free_mm + arriving;
        if available <= 0.0 {
            return;
        }
        let taken =
            self.profile.infiltrate(available, head_mm, self.floor_resistance_h() / ease, ease, hours);
        self.free_mm = available - taken;
        if self.free_mm < 1e-9 {
            self.free_mm = 0.0;
            self.profile.release_front();
        }
    }

    /// What stands higher than the rim runs over it.
    fn spill(&mut self) -> f64 {
        let over_mm = self.standing_mm() - self.depth_mm;
        if over_mm <= 0.0 {
            return 0.0;
        }
        let voids = if self.standing_mm() <= self.mulch.depth_mm() { self.mulch.voids() } else { 1.0 };
        let spilt = (over_mm * voids).min(self.free_mm);
        self.free_mm -= spilt;
        spilt
    }

    /// Roots draw from the soil. Chips, and water among them, dry at a third of the crop's rate, shaded as they lie.
    fn give_to_the_air(&mut self, hours: f64, ground: &Ground) -> f64 {
        let wanted = ground.crop_et_mm_h * hours;
        let from_chips = (wanted / 3.0).min(self.soaked_mm);
        self.soaked_mm -= from_chips;
        let from_pond = (wanted / 3.0 - from_chips).min(self.free_mm);
        self.free_mm -= from_pond;
        from_chips + from_pond + self.profile.draw(wanted, DEPLETION)
    }
}

/// The part of the available water that fruit trees draw without stress (FAO-56 table 22: stone fruit, citrus).
const DEPLETION: f64 = 0.5;
