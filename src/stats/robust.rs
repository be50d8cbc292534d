//! Estimates that a few wild values cannot spoil.

use serde::{Deserialize, Serialize};

/// Factor from the median absolute deviation to the standard deviation of a normal distribution, 1/Φ⁻¹(¾).
pub const MAD_TO_DEVIATION: f64 = 1.482_602_218_505_602;

/// Median, reordering `values`; the mean of the middle two for an even count, `NaN` for none.
pub fn median(values: &mut [f64]) -> f64 {
    let middle = values.len() / 2;
    let even = values.len().is_multiple_of(2);
    if values.is_empty() {
        return f64::NAN;
    }
    let (below, &mut upper, _) = values.select_nth_unstable_by(middle, f64::total_cmp);
    if !even {
        return upper;
    }
    let lower = below.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    0.5 * (lower + upper)
}

/// Median and robust standard deviation (scaled median absolute deviation), overwriting `values` with the
/// deviations.
pub fn median_and_deviation(values: &mut [f64]) -> (f64, f64) {
    let centre = median(values);
    for value in values.iter_mut() {
        *value = (*value - centre).abs();
    }
    (centre, MAD_TO_DEVIATION * median(values))
}

/// Huber's ψ: `residual` held within ±`bound`. 1.345 keeps 95 % efficiency on normal residuals (Huber 1981).
pub fn huber_psi(residual: f64, bound: f64) -> f64 {
    residual.clamp(-bound, bound)
}

/// Huber's weight ψ(r)/r: 1 within the bound, falling outside.
pub fn huber_weight(residual: f64, bound: f64) -> f64 {
    if residual.abs() <= bound { 1.0 } else { bound / residual.abs() }
}

/// Bound of ψ in the streaming estimates, in standard deviations.
const BOUND: f64 = 2.0;
/// E min(z², 2²) for a unit normal z: what the bounded square averages to when the scale is right.
const BOUNDED_SQUARE: f64 = 0.920_539;
/// P(|z| < 2): the mean slope of ψ.
const MEAN_SLOPE: f64 = 0.954_500;
/// Values gathered before the estimate starts from their median and deviation.
const WARM_UP: usize = 9;

/// Streaming location and scale after Huber (1964, Proposal 2), forgetting exponentially.
///
/// Each value moves the location by its bounded residual, and the scale by its bounded square. One value,
/// however wild, moves either by no more than a few gains. The first nine values are kept to start from their
/// median and deviation.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LocationScale {
    /// Values that the memory spans once it is full.
    memory: f64,
    /// The scale never falls below this: the resolution of the measurement.
    floor: f64,
    location: f64,
    scale: f64,
    count: u32,
    warm_up: [f64; WARM_UP],
}

impl LocationScale {
    /// An empty estimate that will remember about `memory` values (2 or more), its scale at least `floor`.
    pub fn new(memory: f64, floor: f64) -> Self {
        Self {
            memory: memory.max(2.0),
            floor,
            location: 0.0,
            scale: floor,
            count: 0,
            warm_up: [0.0; WARM_UP],
        }
    }

    /// Takes one value; one that is not finite changes nothing.
    pub fn observe(&mut self, value: f64) {
        if !value.is_finite() {
            return;
        }
        let seen = self.count as usize;
        self.count = self.count.saturating_add(1);
        if let Some(slot) = self.warm_up.get_mut(seen) {
            *slot = value;
            let mut so_far = self.warm_up;
            (self.location, self.scale) = median_and_deviation(&mut so_far[..=seen]);
        } else {
            let gain = 1.0 / self.memory.min(f64::from(self.count));
            let residual = huber_psi((value - self.location) / self.scale, BOUND);
            self.location += gain * self.scale * residual / MEAN_SLOPE;
            self.scale *= (1.0 + gain * (residual * residual / BOUNDED_SQUARE - 1.0)).sqrt();
        }
        self.scale = self.scale.max(self.floor);
    }

    /// The location, once a value was seen.
    pub fn location(&self) -> Option<f64> {
        (self.count > 0).then_some(self.location)
    }

    /// The scale, as a standard deviation, once two values were seen.
    pub fn scale(&self) -> Option<f64> {
        (self.count > 1).then_some(self.scale)
    }

    /// Values seen.
    pub fn count(&self) -> u32 {
        self.count
    }
}

/// Noise of a slowly changing signal, in one pass: the robust scale of the second differences of its
/// readings.
///
/// A straight line has no second differences whatever its slope, and with independent noise of variance σ²
/// those of the readings have variance 6σ² at equal steps. Unequal steps are taken up by interpolating the
/// middle reading.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Noise {
    differences: LocationScale,
    /// The two readings before, newest last, as (time, value).
    before: [Option<(f64, f64)>; 2],
}

impl Noise {
    /// An empty estimate that will remember about `memory` readings, at least `floor` large.
    pub fn new(memory: f64, floor: f64) -> Self {
        Self { differences: LocationScale::new(memory, floor), before: [None; 2] }
    }

    /// Takes one reading, in order of time; one that is not finite, or not later than the last, changes
    /// nothing.
    pub fn observe(&mut self, at: f64, value: f64) {
        let in_order = self.before[1].is_none_or(|(last, _)| at > last);
        if !(value.is_finite() && at.is_finite() && in_order) {
            return;
        }
        if let [Some((t0, y0)), Some((t1, y1))] = self.before {
            let part = (t1 - t0) / (at - t0);
            let expected = y0 + part * (value - y0);
            // Variance of y1 − expected is σ² (1 + (1 − p)² + p²).
            let unit = (1.0 + (1.0 - part) * (1.0 - part) + part * part).sqrt();
            self.differences.observe((y1 - expected) / unit);
        }
        self.before = [self.before[1], Some((at, value))];
    }

    /// Standard deviation of the noise, once four readings were seen.
    pub fn deviation(&self) -> Option<f64> {
        self.differences.scale()
    }

    /// Forgets the last readings but not the estimate, across a gap or a jump.
    pub fn interrupt(&mut self) {
        self.before = [None; 2];
    }
}

/// Streaming estimate of one quantile over all that was seen: the P² algorithm of Jain & Chlamtac (1985).
///
/// Five markers, whatever the length of the stream; no forgetting.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Quantile {
    probability: f64,
    count: u32,
    heights: [f64; 5],
    positions: [f64; 5],
}

impl Quantile {
    /// An empty estimate of the value with `probability` (0 to 1) below it.
    pub fn new(probability: f64) -> Self {
        Self { probability, count: 0, heights: [0.0; 5], positions: [1.0, 2.0, 3.0, 4.0, 5.0] }
    }

    /// Takes one value; one that is not finite changes nothing.
    pub fn observe(&mut self, value: f64) {
        if !value.is_finite() {
            return;
        }
        let seen = self.count as usize;
        self.count = self.count.saturating_add(1);
        if let Some(slot) = self.heights.get_mut(seen) {
            *slot = value;
            self.heights[..=seen].sort_unstable_by(f64::total_cmp);
            return;
        }
        self.heights[0] = self.heights[0].min(value);
        self.heights[4] = self.heights[4].max(value);
        let above = (1..4).find(|&i| value < self.heights[i]).unwrap_or(4);
        for position in &mut self.positions[above..] {
            *position += 1.0;
        }
        let steps = f64::from(self.count - 1);
        let p = self.probability;
        for (marker, fraction) in [(1, 0.5 * p), (2, p), (3, 0.5 * (1.0 + p))] {
            self.adjust(marker, 1.0 + steps * fraction);
        }
    }

    /// Moves a marker one place towards where it should be, if there is room.
    fn adjust(&mut self, i: usize, wanted: f64) {
        let n = self.positions;
        let lag = wanted - n[i];
        let step = if lag >= 1.0 && n[i + 1] - n[i] > 1.0 {
            1.0
        } else if lag <= -1.0 && n[i - 1] - n[i] < -1.0 {
            -1.0
        } else {
            return;
        };
        let q = self.heights;
        let rise = |from: usize, to: usize| (q[to] - q[from]) / (n[to] - n[from]);
        let parabolic = q[i]
            + step / (n[i + 1] - n[i - 1])
                * ((n[i] - n[i - 1] + step) * rise(i, i + 1) + (n[i + 1] - n[i] - step) * rise(i - 1, i));
        let beside = if step > 0.0 { i + 1 } else { i - 1 };
        let keeps_order = q[i - 1] < parabolic && parabolic < q[i + 1];
        self.heights[i] = if keeps_order { parabolic } else { q[i] + step * rise(i, beside) };
        self.positions[i] += step;
    }

    /// The estimate, once a value was seen; exact (nearest rank) up to five values.
    pub fn value(&self) -> Option<f64> {
        match self.count {
            0 => None,
            count @ 1..=5 => {
                let rank = (self.probability * f64::from(count)).ceil().clamp(1.0, f64::from(count));
                Some(self.heights[rank as usize - 1])
            }
            _ => Some(self.heights[2]),
        }
    }
}

#[cfg(test)]
#[expect(clippy::float_cmp, reason = "these results are exact")]
mod tests {
    use super::*;

    #[test]
    fn median_of_none_one_and_many() {
        assert!(median(&mut []).is_nan());
        assert_eq!(median(&mut [3.0]), 3.0);
        assert_eq!(median(&mut [9.0, 1.0, 5.0]), 5.0);
        assert_eq!(median(&mut [4.0, 1.0, 3.0, 2.0]), 2.5);
    }

    #[test]
    fn half_the_values_may_be_wild_and_the_deviation_stays() {
        let (centre, deviation) = median_and_deviation(&mut [1.0, 2.0, 3.0, 4.0, 5.0, 1e9, -1e9]);
        assert_eq!(centre, 3.0);
        assert!((deviation - 2.0 * MAD_TO_DEVIATION).abs() < 1e-12);
    }

    #[test]
    fn huber_weight_times_residual_is_psi() {
        for r in [-5.0, -1.0, 0.0, 0.5, 7.0] {
            assert!((huber_weight(r, 1.345) * r - huber_psi(r, 1.345)).abs() < 1e-12);
        }
    }

    #[test]
    fn a_constant_signal_has_the_floor_as_its_noise() {
        let mut noise = Noise::new(50.0, 0.001);
        for i in 0..100 {
            noise.observe(f64::from(i), 0.25);
        }
        assert_eq!(noise.deviation(), Some(0.001));
    }

    #[test]
    fn a_straight_line_at_unequal_steps_has_no_noise() {
        let mut noise = Noise::new(50.0, 1e-9);
        for i in 0..100 {
            let at = f64::from(i) + f64::from(i % 3) * 0.3;
            noise.observe(at, 2.0 + 5.0 * at);
        }
        assert!(noise.deviation().is_some_and(|d| d < 1e-8));
    }

    #[test]
    fn values_that_are_not_finite_or_out_of_order_change_nothing() {
        let mut noise = Noise::new(50.0, 0.0);
        noise.observe(1.0, 1.0);
        let before = noise.clone();
        noise.observe(1.0, 2.0);
        noise.observe(0.5, 2.0);
        noise.observe(2.0, f64::NAN);
        assert_eq!(noise, before);
    }

    #[test]
    fn a_quantile_of_few_values_is_exact() {
        let mut third = Quantile::new(0.3);
        assert_eq!(third.value(), None);
        for value in [5.0, 1.0, 4.0] {
            third.observe(value);
        }
        assert_eq!(third.value(), Some(1.0));
    }

    /// The worked example of the paper: Jain & Chlamtac (1985), Commun. ACM 28(10), table I; the median of
    /// these twenty values is estimated as 4.44 (from memory).
    #[test]
    fn the_published_example_of_the_p2_algorithm() {
        let observations = [
            0.02, 0.15, 0.74, 3.39, 0.83, 22.37, 10.15, 15.43, 38.62, 15.92, 34.60, 10.28, 1.47, 0.40, 0.05,
            11.39, 0.27, 0.42, 0.09, 11.37,
        ];
        let mut median = Quantile::new(0.5);
        for value in observations {
            median.observe(value);
        }
        assert!(median.value().is_some_and(|value| (value - 4.44).abs() < 0.005), "{median:?}");
    }
}
