//! How long water may stand in a basin before it is a pond or a flood.

use crate::model::{Basin, Soil, Span};
use crate::stats::infiltration::GreenAmpt;

/// Open space between mulch chips, by volume (common practice, no published source).
const MULCH_VOIDS: f64 = 0.5;
/// Least depth of water that a soak time is reckoned for, mm.
const LEAST_WATER_MM: f64 = 20.0;
/// Height of a float nobody stated, mm above the floor.
const FLOAT_HEIGHT_MM: f64 = 120.0;
/// Standing water shorter than this is no pond.
pub(crate) const PONDING_AT_LEAST: Span = Span::HOUR;
/// Standing water shorter than this is no flood, unless the system file says so.
pub(crate) const FLOOD_AT_LEAST: Span = Span::from_hours(6);
/// An overflow float wet for this long is a flood.
pub(crate) const OVERFLOW_HOLD: Span = Span::from_mins(2);
/// A flood holds twice what the soil should need.
const FLOOD_FACTOR: f64 = 2.0;
/// A pond stands three times what this basin is known to need.
const PONDING_FACTOR: f64 = 3.0;

/// Limits on standing water in one basin.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Allowance {
    /// Time in which soil of this class should take the water above the float.
    pub(crate) soil: Span,
    /// Standing water this long is a flood.
    pub(crate) flood_hold: Span,
}

impl Allowance {
    /// From soil class and basin.
    ///
    /// The water is that between the float and the mulch's surface, above which none should ever
    /// stand; the soil starts at field capacity and takes it by the falling-head equation of
    /// Green and Ampt with the published parameters of its class.
    pub(crate) fn of(basin: &Basin, soil: Soil) -> Self {
        let float_mm = basin.float_height_mm.unwrap_or(FLOAT_HEIGHT_MM);
        let surface_mm = basin.mulch.depth_mm.min(basin.depth_mm);
        let water_mm = ((surface_mm - float_mm) * MULCH_VOIDS).max(LEAST_WATER_MM);
        let soil = soak_time(soil, water_mm);
        let flood_hold = basin.flood_hold.unwrap_or_else(|| FLOOD_AT_LEAST.max(soil.scaled(FLOOD_FACTOR)));
        Self { soil, flood_hold }
    }

    /// Standing water this long is a pond, given the soak time learnt in this basin, if any.
    pub(crate) fn ponding(&self, learnt: Option<Span>) -> Span {
        let limit = learnt.map_or(self.soil, |learnt| learnt.scaled(PONDING_FACTOR));
        limit.max(PONDING_AT_LEAST)
    }
}

/// Time in which soil at field capacity takes `water_mm` standing on it.
pub(crate) fn soak_time(soil: Soil, water_mm: f64) -> Span {
    let p = soil.properties();
    let residual = p.porosity - p.effective_porosity;
    let deficit = (p.effective_porosity - (p.field_capacity - residual)).max(0.02);
    let green_ampt = GreenAmpt { conductivity: p.conductivity_mm_h, suction: p.suction_mm, deficit };
    Span::from_hours_f64(green_ampt.time_to_dry(water_mm))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn finer_soils_are_allowed_more_time() {
        let hours = |soil| soak_time(soil, 40.0).hours_f64();
        assert!(hours(Soil::Sand) < 0.3);
        assert!((1.0..1.6).contains(&hours(Soil::SandyLoam)), "{}", hours(Soil::SandyLoam));
        assert!(hours(Soil::SandyLoam) < hours(Soil::Loam));
        assert!(hours(Soil::Loam) < hours(Soil::ClayLoam));
        assert!(hours(Soil::ClayLoam) < hours(Soil::Clay));
    }

    #[test]
    fn ponding_waits_an_hour_at_least() {
        let allowance = Allowance { soil: Span::from_mins(20), flood_hold: FLOOD_AT_LEAST };
        assert_eq!(allowance.ponding(None), Span::HOUR);
        assert_eq!(allowance.ponding(Some(Span::from_mins(50))), Span::from_mins(150));
    }
}
