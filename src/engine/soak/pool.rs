//! Water standing on a floor, on its way through time.

use super::floor::Floor;

/// Water arriving evenly over a time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Load {
    /// When it begins, hours from any origin.
    pub(crate) from_h: f64,
    /// How long it comes, hours.
    pub(crate) hours: f64,
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

/// What a pool did over a stretch of time.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Went {
    pub(crate) stood: HoursUp,
    pub(crate) passed: Passed,
}

/// When a float was up over a stretch of time, in hours from the pool's origin.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct HoursUp {
    /// When it had risen, maybe before the stretch.
    pub(crate) since: f64,
    /// From when it was up within the stretch.
    pub(crate) from: f64,
    /// When it fell, or the end of the stretch; equal to `from` if it was never up.
    pub(crate) until: f64,
}

/// Water that went through the floor over a stretch of time.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Passed {
    /// Depth, mm.
    pub(crate) mm: f64,
    /// Depth times the hour at which it went, mm h.
    pub(crate) moment_mm_h: f64,
}

impl Pool {
    /// An empty basin.
    pub(crate) fn empty(at_h: f64) -> Self {
        Self { now_h: at_h, ..Self::default() }
    }

    /// Nothing comes until `to_h`.
    pub(crate) fn drain(&mut self, floor: &Floor, resistance_h: f64, to_h: f64) -> Went {
        self.run(floor, resistance_h, (to_h - self.now_h).max(0.0), 0.0)
    }

    /// A load comes, from now on: the pool must have been drained until it begins.
    pub(crate) fn fill(&mut self, floor: &Floor, resistance_h: f64, load: Load) -> Went {
        self.run(floor, resistance_h, load.hours, load.mm / load.hours)
    }

    /// Lets water come at an even rate (mm/h). Its level L = W + nψ tends to nRq, where as much passes as comes, unless
    /// the pool is gone before.
    fn run(&mut self, floor: &Floor, resistance_h: f64, hours: f64, inflow_mm_h: f64) -> Went {
        let tau_h = Floor::settles_h(resistance_h);
        let (from_h, from_mm) = (self.now_h, self.free_mm);
        let (even, level) = (tau_h * inflow_mm_h, from_mm + floor.suction_mm);
        // Only asked for levels on the way.
        let reaches_h = |to: f64| tau_h * ((level - even) / (to - even)).ln();
        let at = |after_h: f64| even + (level - even) * (-after_h / tau_h).exp();
        let wet_h = if even < floor.suction_mm { reaches_h(floor.suction_mm).min(hours) } else { hours };
        self.now_h = from_h + hours;
        self.free_mm = if wet_h < hours { 0.0 } else { (at(hours) - floor.suction_mm).max(0.0) };
        let standing_mm_h = (even - floor.suction_mm) * wet_h + tau_h * (level - at(wet_h));
        let came_moment = inflow_mm_h * hours * (from_h + 0.5 * hours);
        let passed = Passed {
            mm: inflow_mm_h * hours + from_mm - self.free_mm,
            moment_mm_h: came_moment + from_h * from_mm - self.now_h * self.free_mm + standing_mm_h,
        };
        self.free_mm = self.free_mm.min(floor.full_mm);
        let crosses_h = || from_h + reaches_h(floor.float_mm + floor.suction_mm).clamp(0.0, hours);
        let is_up = self.free_mm > floor.float_mm;
        let stood = match (self.above_since_h, is_up) {
            (Some(since), true) => HoursUp { since, from: from_h, until: self.now_h },
            (Some(since), false) => HoursUp { since, from: from_h, until: crosses_h() },
            (None, true) => {
                let rose = crosses_h();
                HoursUp { since: rose, from: rose, until: self.now_h }
            }
            (None, false) => HoursUp { since: from_h, from: from_h, until: from_h },
        };
        self.above_since_h = is_up.then_some(stood.since);
        Went { stood, passed }
    }

    /// Free water, mm.
    #[cfg(test)]
    pub(super) fn free_mm(&self) -> f64 {
        self.free_mm
    }

    /// Water comes all at once.
    #[cfg(test)]
    pub(super) fn pour(&mut self, mm: f64) {
        self.free_mm += mm;
    }
}

impl HoursUp {
    /// How long it stayed up within the stretch, hours.
    #[cfg(test)]
    fn hours(self) -> f64 {
        self.until - self.from
    }
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

#[cfg(test)]
mod tests {
    use super::*;

    const VOIDS: f64 = 0.5;

    fn load(from_h: f64, hours: f64, mm: f64) -> Load {
        Load { from_h, hours, mm }
    }

    /// Water, hours above the float, what passed and its moment, in small steps of the equation.
    fn in_small_steps(free_mm: f64, resistance_h: f64, load: Load) -> [f64; 4] {
        let floor = Floor::for_tests();
        let (steps, mut free, mut up_h, mut mm, mut moment) = (400_000, free_mm, 0.0, 0.0, 0.0);
        let step_h = load.hours / f64::from(steps);
        for step in 0..steps {
            up_h += if free > floor.float_mm { step_h } else { 0.0 };
            free += load.mm / f64::from(steps);
            let went = ((free + floor.suction_mm) / VOIDS / resistance_h * step_h).min(free);
            free -= went;
            mm += went;
            moment += went * (load.from_h + f64::from(step) * step_h);
        }
        [free, up_h, mm, moment]
    }

    /// The closed form against small steps of the equation it solves: rising, falling, past the float both ways, running
    /// dry, and not wetted at all.
    #[test]
    fn a_pool_agrees_with_small_steps_of_its_equation() {
        let floor = Floor::for_tests();
        let cases = [
            (0.0, 12.0, load(0.0, 0.5, 40.0)),
            (60.0, 12.0, load(3.0, 3.0, 0.0)),
            (30.0, 12.0, load(2.0, 9.0, 0.0)),
            (60.0, 12.0, load(2.0, 4.0, 12.0)),
            (18.0, 40.0, load(1.0, 2.0, 30.0)),
            (5.0, 3.0, load(1.0, 2.0, 4.0)),
            (0.0, 3.0, load(1.0, 2.0, 4.0)),
        ];
        for (free_mm, resistance_h, load) in cases {
            let mut pool = Pool::empty(load.from_h);
            pool.pour(free_mm);
            pool.above_since_h = (free_mm > floor.float_mm).then_some(load.from_h);
            let went = pool.fill(&floor, resistance_h, load);
            let expected = in_small_steps(free_mm, resistance_h, load);
            let found = [pool.free_mm, went.stood.hours(), went.passed.mm, went.passed.moment_mm_h];
            for (found, expected) in found.iter().zip(expected) {
                assert!((found - expected).abs() < 2e-3 * (1.0 + expected), "{load:?} {found} {expected}");
            }
            assert_eq!(pool.above_since_h.is_some(), pool.free_mm > floor.float_mm);
        }
    }

    #[test]
    fn a_refill_keeps_the_float_up() {
        let floor = Floor::for_tests();
        let mut pool = Pool::empty(0.0);
        let rose = pool.fill(&floor, 20.0, load(0.0, 0.25, 50.0)).stood;
        let kept = pool.drain(&floor, 20.0, 1.0).stood;
        pool.fill(&floor, 20.0, load(1.0, 0.25, 30.0));
        let fell = pool.drain(&floor, 20.0, 48.0).stood;
        assert!(
            (0.05..0.2).contains(&rose.since) && (kept.hours() - 0.75).abs() < 1e-12,
            "{rose:?} {kept:?}"
        );
        assert!((fell.since - rose.since).abs() < 1e-12 && (3.0..12.0).contains(&fell.until), "{fell:?}");
        assert!(pool.above_since_h.is_none() && pool.free_mm.abs() < 1e-12);
    }

    #[test]
    fn a_full_basin_holds_no_more() {
        let floor = Floor::for_tests();
        let mut pool = Pool::empty(0.0);
        pool.fill(&floor, 3000.0, load(0.0, 1.0, 5000.0));
        assert!((pool.free_mm - floor.full_mm).abs() < 1e-12);
    }
}
