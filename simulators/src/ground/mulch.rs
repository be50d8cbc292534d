//! Mulch: chips that hold water in their voids, rot, and leave fines on the floor.

use crate::site::Chip;

/// Days in a mean year.
const YEAR_DAYS: f64 = 365.25;

/// Factor on the rate of decay for 10 °C more (Mackensen, Bauhus and Webber 2003, woody debris).
const Q10: f64 = 2.53;

/// Mean temperature to which the yearly rates belong (°C).
const RATE_AT_C: f64 = 15.0;

/// The part of the rotted volume that stays behind as humus and fines (from memory).
const HUMUS_PART: f64 = 0.25;

/// Resistance of a floor just dug (h).
const CLEAN_FLOOR_H: f64 = 0.1;

/// Resistance that each millimetre of humus adds to the floor (h/mm): humus of 7 mm/h (invented).
const HUMUS_H_PER_MM: f64 = 0.15;

/// Resistance that lint, soap and slime add for the first metre of greywater through the floor (h/m), and the metres
/// after which it has doubled: slime grows faster the longer it is under water. A floor that is never dug comes in four
/// or five years at 60 mm a day to the 20 h and more at which it passes only the few centimetres a day of long-used
/// effluent trenches (1 to 5 cm/d; Siegrist; Beal 2005; from memory).
const GREYWATER_H_PER_M: f64 = 0.06;
const GREYWATER_DOUBLES_M: f64 = 40.0;

/// The mulch of one basin and the state of the floor below it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mulch {
    chip: Chip,
    placed_depth_mm: f64,
    /// The part of the placed mass that has not rotted.
    mass: f64,
    /// Greywater that has come to the floor since the mulch was placed (mm).
    passed_mm: f64,
}

impl Mulch {
    /// New mulch on a floor just dug.
    pub fn new(chip: Chip, depth_mm: f64) -> Self {
        Self { chip, placed_depth_mm: depth_mm, mass: 1.0, passed_mm: 0.0 }
    }

    /// Depth of chips and humus together (mm).
    pub fn depth_mm(&self) -> f64 {
        self.placed_depth_mm * self.mass + self.humus_mm()
    }

    /// The part of the mulch's volume that water can fill and leave: the voids between chips, less those that humus
    /// has filled. Coarser chips pack more openly (common practice, no published source).
    pub fn voids(&self) -> f64 {
        let fresh = match self.chip {
            Chip::Fine => 0.45,
            Chip::Medium => 0.50,
            Chip::Coarse => 0.55,
        };
        if self.depth_mm() <= 0.0 {
            return 1.0;
        }
        let humus_part = self.humus_mm() / self.depth_mm();
        fresh * (1.0 - humus_part) + 0.2 * humus_part
    }

    /// Resistance of the floor (h) at 20 °C.
    pub fn floor_resistance_h(&self) -> f64 {
        let passed_m = self.passed_mm / 1000.0;
        let slime_h = GREYWATER_H_PER_M * passed_m * (1.0 + passed_m / GREYWATER_DOUBLES_M);
        CLEAN_FLOOR_H + HUMUS_H_PER_MM * self.humus_mm() + slime_h
    }

    /// Water that chips soak up from below and above before they let it pass (mm).
    pub fn soaks_up_mm(&self) -> f64 {
        0.02 * self.depth_mm()
    }

    /// Lets the chips rot for `days` at `celsius`; `wetness` from 0 (air dry) to 1 (wet, not flooded).
    pub fn rot(&mut self, days: f64, celsius: f64, wetness: f64) {
        let warmth = Q10.powf((celsius - RATE_AT_C) / 10.0);
        let damp = 0.3 + 0.7 * wetness.clamp(0.0, 1.0);
        self.mass *= (-self.rate_per_year() * warmth * damp * days / YEAR_DAYS).exp();
    }

    /// Notes greywater that has come to the floor.
    pub fn pass(&mut self, water_mm: f64) {
        self.passed_mm += water_mm;
    }

    /// First-order rate of decay (1/y), in the working range of 0.2 to 0.5 for wood chips (from memory).
    fn rate_per_year(&self) -> f64 {
        match self.chip {
            Chip::Fine => 0.5,
            Chip::Medium => 0.33,
            Chip::Coarse => 0.2,
        }
    }

    fn humus_mm(&self) -> f64 {
        HUMUS_PART * self.placed_depth_mm * (1.0 - self.mass)
    }
}

#[cfg(test)]
mod tests {
    use super::{Chip, Mulch, YEAR_DAYS};

    fn rotted(chip: Chip, years: f64, celsius: f64) -> Mulch {
        let mut mulch = Mulch::new(chip, 200.0);
        (0..365).for_each(|_| mulch.rot(years * YEAR_DAYS / 365.0, celsius, 1.0));
        mulch
    }

    #[test]
    fn chips_rot_at_published_rates() {
        // First order, M = M0 exp(-k t): k of 0.2 and 0.5 a year leave 0.8187 and 0.6065 after one year, 0.6703 and
        // 0.3679 after two (rates for wood chips from memory). Q10 2.53: Mackensen, Bauhus and Webber (2003).
        for (chip, years, left) in [
            (Chip::Coarse, 1.0, 0.8187),
            (Chip::Coarse, 2.0, 0.6703),
            (Chip::Fine, 1.0, 0.6065),
            (Chip::Fine, 2.0, 0.3679),
        ] {
            assert!((rotted(chip, years, 15.0).mass - left).abs() < 1e-4);
        }
        let (warm, cool) = (rotted(Chip::Medium, 1.0, 25.0), rotted(Chip::Medium, 1.0, 15.0));
        assert!((warm.mass.ln() / cool.mass.ln() - 2.53).abs() < 1e-9);
        let mut dry = Mulch::new(Chip::Medium, 200.0);
        dry.rot(YEAR_DAYS, 15.0, 0.0);
        assert!(dry.mass > cool.mass);
    }

    #[test]
    fn old_mulch_holds_less_and_seals_the_floor() {
        let fresh = Mulch::new(Chip::Medium, 200.0);
        let mut old = rotted(Chip::Medium, 3.0, 15.0);
        assert!(old.depth_mm() < 0.7 * fresh.depth_mm() && old.voids() < fresh.voids());
        let before = old.floor_resistance_h();
        assert!(before > 10.0 * fresh.floor_resistance_h());
        old.pass(20_000.0);
        assert!(old.floor_resistance_h() > before + 1.0);
    }
}
