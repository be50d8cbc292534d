//! Water standing on the floor of a basin, and how a mat of lint, soap and humus holds it up.
//!
//! The mat is a crust over unsaturated soil: what passes it is the head above plus the suction below, over its
//! resistance (Hillel & Gardner 1970, *Soil Sci.* 109:69–76, for the crust-topped profile). With W the free
//! water (depth without mulch), n the voids between the chips and ψ the soil's suction,
//!
//! dW/dt = −(W/n + ψ)/R, so that W + nψ decays with the time constant nR.
//!
//! R here is the whole resistance in hours that a pool feels, the soil's own included.

use crate::model::{Basin, Soil};

/// Open space between mulch chips, by volume (common practice, no published source).
const VOIDS: f64 = 0.5;

/// What is fixed of one basin.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Floor {
    /// Free water at which the float rises, mm.
    float_mm: f64,
    /// Free water at which the basin runs over, mm.
    full_mm: f64,
    /// Suction of the soil times the voids, mm.
    suction_mm: f64,
    /// Litres that make a millimetre.
    area_m2: f64,
}

/// Water arriving at once.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Pulse {
    /// Hours, from any origin.
    pub(crate) at_h: f64,
    /// Depth over the floor, mm.
    pub(crate) mm: f64,
}

/// A pool on its way through time.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Pool {
    now_h: f64,
    free_mm: f64,
    above_since_h: Option<f64>,
}

impl Floor {
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

    /// Depth that some litres make over the floor, mm.
    pub(crate) fn depth_mm(&self, litres: f64) -> f64 {
        litres / self.area_m2
    }

    /// Hours that a dose of `mm` takes to go, from an empty basin.
    pub(crate) fn soak_h(&self, mm: f64, resistance_h: f64) -> f64 {
        VOIDS * resistance_h * (mm / self.suction_mm).ln_1p()
    }
}

impl Pool {
    /// An empty basin.
    pub(crate) fn empty(at_h: f64) -> Self {
        Self { now_h: at_h, ..Self::default() }
    }

    /// Water comes, after the pool has drained until then.
    pub(crate) fn receive(&mut self, floor: &Floor, resistance_h: f64, pulse: Pulse) -> Stood {
        let stood = self.drain(floor, resistance_h, pulse.at_h);
        self.free_mm = (self.free_mm + pulse.mm).min(floor.full_mm);
        if self.free_mm > floor.float_mm {
            self.above_since_h.get_or_insert(self.now_h);
        }
        stood
    }

    /// Lets the pool drain until `to_h`, and says how long the float stayed up meanwhile.
    pub(crate) fn drain(&mut self, floor: &Floor, resistance_h: f64, to_h: f64) -> Stood {
        let hours = (to_h - self.now_h).max(0.0);
        let from_h = self.now_h;
        self.now_h += hours;
        let tau_h = VOIDS * resistance_h;
        let level = self.free_mm + floor.suction_mm;
        self.free_mm = (level * (-hours / tau_h).exp() - floor.suction_mm).max(0.0);
        let Some(since_h) = self.above_since_h else { return Stood::default() };
        let falls_h = tau_h * (level / (floor.float_mm + floor.suction_mm)).ln();
        if falls_h < hours {
            self.above_since_h = None;
        }
        let until_h = from_h + falls_h.min(hours);
        Stood { hours: until_h - from_h, since_h, until_h }
    }

    /// What goes through the floor from now until `to_h`, if nothing comes. The moment follows by parts from the water
    /// still there, whose integral is τ(W₀ − W₁) − nψt while there is any.
    pub(crate) fn will_pass(&self, floor: &Floor, resistance_h: f64, to_h: f64) -> Passed {
        let tau_h = VOIDS * resistance_h;
        let gone_h = tau_h * (self.free_mm / floor.suction_mm).ln_1p();
        let hours = (to_h - self.now_h).max(0.0).min(gone_h);
        let left_mm = (self.free_mm + floor.suction_mm) * (-hours / tau_h).exp() - floor.suction_mm;
        let (mm, until_h) = (self.free_mm - left_mm, self.now_h + hours);
        let standing_mm_h = tau_h * mm - floor.suction_mm * hours;
        Passed { mm, moment_mm_h: self.now_h * self.free_mm - until_h * left_mm + standing_mm_h }
    }
}

/// Water that went through the floor over a stretch of time.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Passed {
    /// Depth, mm.
    pub(crate) mm: f64,
    /// Depth times the hour at which it went, mm h.
    pub(crate) moment_mm_h: f64,
}

impl Passed {
    /// Mean hour at which the water went; none if hardly any did.
    pub(crate) fn mean_h(self, least_mm: f64) -> Option<f64> {
        (self.mm >= least_mm).then(|| self.moment_mm_h / self.mm)
    }
}

impl std::ops::AddAssign for Passed {
    fn add_assign(&mut self, more: Self) {
        self.mm += more.mm;
        self.moment_mm_h += more.moment_mm_h;
    }
}

/// How long a float stayed up over a stretch of time.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Stood {
    /// Within the stretch.
    pub(crate) hours: f64,
    /// When it had risen, maybe before the stretch; equal to `until_h` if it was never up.
    pub(crate) since_h: f64,
    /// When it fell, or the end of the stretch.
    pub(crate) until_h: f64,
}

#[cfg(test)]
mod tests {
    use super::*;

    fn floor() -> Floor {
        Floor { float_mm: 20.0, full_mm: 200.0, suction_mm: 55.0, area_m2: 1.2 }
    }

    /// The closed form against small steps of the equation it solves.
    #[test]
    fn draining_agrees_with_small_steps_of_its_equation() {
        let (floor, resistance_h) = (floor(), 12.0);
        let mut pool = Pool::empty(0.0);
        pool.receive(&floor, resistance_h, Pulse { at_h: 0.0, mm: 60.0 });
        let stood = pool.drain(&floor, resistance_h, 3.0);
        let (mut free, mut up_h) = (60.0, 0.0);
        for _ in 0..300_000 {
            up_h += if free > 20.0 { 1e-5 } else { 0.0 };
            free -= (free / VOIDS + 55.0 / VOIDS) / resistance_h * 1e-5;
        }
        assert!((pool.free_mm - free).abs() < 1e-3, "{} {free}", pool.free_mm);
        assert!((stood.hours - up_h).abs() < 1e-3, "{} {up_h}", stood.hours);
    }

    /// The moment of what goes through against small steps of the same equation.
    #[test]
    fn what_passes_agrees_with_small_steps_of_its_equation() {
        let (floor, resistance_h) = (floor(), 9.0);
        let mut pool = Pool::empty(2.0);
        pool.receive(&floor, resistance_h, Pulse { at_h: 2.0, mm: 25.0 });
        for hours in [0.5, 1.2, 8.0] {
            let (mut free, mut mm, mut moment) = (25.0_f64, 0.0, 0.0);
            for step in 0..(hours * 1e5) as u32 {
                let went = ((free / VOIDS + 55.0 / VOIDS) / resistance_h * 1e-5).min(free);
                free -= went;
                mm += went;
                moment += went * (2.0 + f64::from(step) * 1e-5);
            }
            let passed = pool.will_pass(&floor, resistance_h, 2.0 + hours);
            assert!((passed.mm - mm).abs() < 1e-2, "{passed:?} {mm}");
            assert!((passed.moment_mm_h - moment).abs() < 2e-2, "{passed:?} {moment}");
        }
    }

    #[test]
    fn a_refill_keeps_the_float_up() {
        let floor = floor();
        let mut pool = Pool::empty(0.0);
        pool.receive(&floor, 20.0, Pulse { at_h: 0.0, mm: 50.0 });
        let first = pool.receive(&floor, 20.0, Pulse { at_h: 1.0, mm: 30.0 });
        let second = pool.drain(&floor, 20.0, 48.0);
        assert!((first.hours - 1.0).abs() < 1e-12);
        assert!(second.since_h.abs() < 1e-12 && second.until_h > 3.0 && second.until_h < 12.0, "{second:?}");
        assert!(pool.above_since_h.is_none() && pool.free_mm.abs() < 1e-12);
    }

    #[test]
    fn the_soak_time_is_when_the_pool_is_gone() {
        let floor = floor();
        let soak_h = floor.soak_h(15.0, 9.0);
        let mut pool = Pool::empty(0.0);
        pool.receive(&floor, 9.0, Pulse { at_h: 0.0, mm: 15.0 });
        pool.drain(&floor, 9.0, 0.99 * soak_h);
        assert!(pool.free_mm > 0.05, "{}", pool.free_mm);
        pool.drain(&floor, 9.0, 1.001 * soak_h);
        assert!(pool.free_mm.abs() < 1e-12);
    }
}
