//! The floor of a basin, and how a mat of lint, soap and humus on it holds water up.
//!
//! The mat is a crust over unsaturated soil: what passes it is the head above plus the suction below, over its
//! resistance (Hillel & Gardner 1970, *Soil Sci.* 109:69–76, for the crust-topped profile). With W the free
//! water (depth without mulch), n the voids between the chips and ψ the soil's suction,
//!
//! dW/dt = q − (W/n + ψ)/R while q comes, so that W + nψ tends to nRq with the time constant nR.
//!
//! R here is the whole resistance in hours that a pool feels, the soil's own included.

use crate::model::{Basin, Soil};

/// Open space between mulch chips, by volume (common practice, no published source).
const VOIDS: f64 = 0.5;

/// What is fixed of one basin.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Floor {
    /// Free water at which the float rises, mm.
    pub(super) float_mm: f64,
    /// Free water at which the basin runs over, mm.
    pub(super) full_mm: f64,
    /// Suction of the soil times the voids, mm.
    pub(super) suction_mm: f64,
    /// Litres that make a millimetre.
    area_m2: f64,
}

impl Floor {
    /// A floor of 1.2 m² on loam.
    #[cfg(test)]
    pub(super) fn for_tests() -> Self {
        Self { float_mm: 20.0, full_mm: 200.0, suction_mm: 55.0, area_m2: 1.2 }
    }

    /// Of a basin whose float closes `float_mm` above the floor, on soil of a class.
    pub(crate) fn of(basin: &Basin, soil: Soil, float_mm: f64) -> Self {
        let in_mulch = VOIDS * basin.mulch.depth_mm.min(basin.depth_mm);
        let above_mulch = (basin.depth_mm - basin.mulch.depth_mm).max(0.0);
        Self {
            float_mm: VOIDS * float_mm,
            full_mm: in_mulch + above_mulch,
            suction_mm: VOIDS * soil.properties().suction_mm,
            area_m2: basin.area_m2,
        }
    }

    /// The time constant at which what stands on it tends to what comes, hours.
    pub(super) fn settles_h(resistance_h: f64) -> f64 {
        VOIDS * resistance_h
    }

    /// Depth that some litres make over the floor, mm.
    pub(crate) fn depth_mm(&self, litres: f64) -> f64 {
        litres / self.area_m2
    }

    /// Hours that a dose of `mm` takes to go, from an empty basin.
    pub(crate) fn soak_h(&self, mm: f64, resistance_h: f64) -> f64 {
        Self::settles_h(resistance_h) * (mm / self.suction_mm).ln_1p()
    }
}

#[cfg(test)]
mod tests {
    use super::super::pool::Pool;
    use super::*;

    #[test]
    fn the_soak_time_is_when_the_pool_is_gone() {
        let floor = Floor::for_tests();
        let soak_h = floor.soak_h(15.0, 9.0);
        let mut pool = Pool::empty(0.0);
        pool.pour(15.0);
        pool.drain(&floor, 9.0, 0.99 * soak_h);
        assert!(pool.free_mm() > 0.05, "{}", pool.free_mm());
        pool.drain(&floor, 9.0, 1.001 * soak_h);
        assert!(pool.free_mm().abs() < 1e-12);
    }
}
