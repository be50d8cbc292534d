//! Sequential generalised likelihood ratio: finds a change of unknown size and unknown beginning.
//!
//! Observations are residuals from a known or learnt baseline, each with its own variance. Against *no
//! change* stand two alternatives: a **step** (the mean is δ from the onset on) and a **drift** (the mean
//! grows by β a unit of time from the onset on). For every candidate onset the best δ or β follows in closed
//! form, and the largest log likelihood ratio over the candidates is the statistic (Lorden 1971; Siegmund &
//! Venkatraman 1995).
//!
//! Memory is fixed: when the candidates are used up, the onset whose removal hurts least is dropped, which
//! leaves onsets spaced geometrically in the information gathered since them. Each gap holds sufficient
//! statistics, so nothing but the choice of onset gets coarser.

use serde::{Deserialize, Serialize};

use super::interval::Interval;
use super::normal;
use super::quadrature::gauss_legendre;
use super::run_length::limit_for;

/// How much is remembered, and how much evidence a change needs.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Design {
    /// Most onsets considered, 4 or more; 32 cost about 4 % of the best statistic over 1,000 observations.
    pub candidates: u16,
    /// Onsets older than this before the newest observation are forgotten, in units of time.
    pub span: f64,
    /// A change rests on at least this many observations, so that one wild value is not a change.
    pub least_observations: u32,
}

/// The most likely change.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Change {
    /// Log likelihood ratio against no change, 0 or above.
    pub evidence: f64,
    /// Time of the first observation after the change.
    pub onset: f64,
    /// Where the onset lies with about [`ONSET_COVERAGE`] probability.
    pub onset_range: Interval,
    /// Observations since the onset.
    pub observations: u32,
    /// The step δ, or the drift β a unit of time, with its sign.
    pub size: f64,
    /// Variance of `size`, baseline error included.
    pub variance: f64,
}

/// Nominal coverage of [`Change::onset_range`].
pub const ONSET_COVERAGE: f64 = 0.8;

/// How far below the best the log likelihood ratio of an onset may lie and still be within the range.
///
/// For a step, the log likelihood ratio on either side of the true onset is about a Brownian motion with
/// drift −½ per unit of its variance, whose maximum is exponential: the range covers (1 − e⁻ᵈ)². A drift sets
/// in without a jump, so its onset is a regular parameter and d is half the χ²₁ quantile.
const STEP_DROP: f64 = 2.249;
const DRIFT_DROP: f64 = 0.821;

/// Sums over the observations from one candidate onset to the next; times count from `start`.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
struct Segment {
    start: f64,
    observations: u32,
    /// Σ w, with w = 1/variance.
    weight: f64,
    /// Σ w x
    value: f64,
    /// Σ w t
    time: f64,
    /// Σ w t²
    time_square: f64,
    /// Σ w t x
    time_value: f64,
}

impl Segment {
    fn of(at: f64, value: f64, variance: f64) -> Self {
        let weight = 1.0 / variance;
        Self {
            start: at,
            observations: 1,
            weight,
            value: weight * value,
            time: 0.0,
            time_square: 0.0,
            time_value: 0.0,
        }
    }

    /// Takes in the segment that follows.
    fn append(&mut self, later: &Self) {
        let shift = later.start - self.start;
        self.observations = self.observations.saturating_add(later.observations);
        self.weight += later.weight;
        self.value += later.value;
        self.time += later.time + shift * later.weight;
        self.time_square += later.time_square + shift * (2.0 * later.time + shift * later.weight);
        self.time_value += later.time_value + shift * later.value;
    }

    /// The step that fits best from the start on, and its variance when the baseline itself has an error.
    fn step(&self, baseline_variance: f64) -> (f64, f64) {
        (self.value / self.weight, 1.0 / self.weight + baseline_variance)
    }

    /// The drift that fits best from the start on; an error of the baseline counts as far as the drift would
    /// take it up.
    fn drift(&self, baseline_variance: f64) -> (f64, f64) {
        let leverage = self.time / self.time_square;
        (self.time_value / self.time_square, 1.0 / self.time_square + baseline_variance * leverage * leverage)
    }
}

/// The streaming test.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Glr {
    design: Design,
    /// Oldest first; at most `design.candidates`.
    segments: Vec<Segment>,
}

impl Glr {
    /// A test that has seen nothing. Reserves all the memory it will use.
    pub fn new(design: Design) -> Self {
        Self { design, segments: Vec::with_capacity(usize::from(design.candidates)) }
    }

    /// Takes one residual with its variance, in order of time. A residual that is not finite, or a variance
    /// that is not a positive number, changes nothing.
    pub fn observe(&mut self, at: f64, residual: f64, variance: f64) {
        let usable = residual.is_finite() && at.is_finite() && variance.is_finite() && variance > 0.0;
        if !usable {
            return;
        }
        let oldest = at - self.design.span;
        let forgotten = self.segments.iter().take_while(|segment| segment.start < oldest).count();
        self.segments.drain(..forgotten);
        if self.segments.len() >= usize::from(self.design.candidates) {
            self.drop_least_useful_onset();
        }
        self.segments.push(Segment::of(at, residual, variance));
    }

    /// Merges the two neighbours whose outer edges are closest in the information that follows them.
    fn drop_least_useful_onset(&mut self) {
        let mut least: Option<(usize, f64)> = None;
        let (mut after, mut after_next) = (0.0, 0.0);
        for (index, segment) in self.segments.iter().enumerate().rev() {
            let here = after + segment.weight;
            let spread = here / after_next;
            if after_next > 0.0 && least.is_none_or(|(_, best)| spread < best) {
                least = Some((index, spread));
            }
            (after, after_next) = (here, after);
        }
        if let Some((index, _)) = least {
            let later = self.segments.remove(index + 1);
            self.segments[index].append(&later);
        }
    }

    /// The most likely step. `baseline_variance` is the variance of the baseline's own error, 0 where it is
    /// known.
    ///
    /// `None` until a change could rest on enough observations.
    pub fn step(&self, baseline_variance: f64) -> Option<Change> {
        self.best(STEP_DROP, |suffix| suffix.step(baseline_variance))
    }

    /// The most likely drift, likewise; it needs two different times besides.
    pub fn drift(&self, baseline_variance: f64) -> Option<Change> {
        self.best(DRIFT_DROP, |suffix| suffix.drift(baseline_variance))
    }

    fn best(&self, drop: f64, fit: impl Fn(&Segment) -> (f64, f64)) -> Option<Change> {
        let mut best: Option<Change> = None;
        self.for_each_onset(&fit, |candidate| {
            if best.is_none_or(|b| candidate.evidence >= b.evidence) {
                best = Some(candidate);
            }
        });
        let mut best = best?;
        best.onset_range = self.onsets_above(best.evidence - drop, fit);
        Some(best)
    }

    /// From the oldest to the newest onset whose evidence reaches `level`, drawn out to where a straight line
    /// to the next onset outside passes it.
    fn onsets_above(&self, level: f64, fit: impl Fn(&Segment) -> (f64, f64)) -> Interval {
        let mut range = Interval { low: f64::NAN, high: f64::NAN };
        let mut newer: Option<Change> = None;
        self.for_each_onset(fit, |candidate| {
            let crossing = newer.map(|newer| {
                let part = (level - candidate.evidence) / (newer.evidence - candidate.evidence);
                candidate.onset + part * (newer.onset - candidate.onset)
            });
            let newer_inside = newer.is_some_and(|newer| newer.evidence >= level);
            if candidate.evidence >= level {
                range.low = candidate.onset;
                if range.high.is_nan() {
                    range.high = crossing.unwrap_or(candidate.onset);
                }
            } else if newer_inside {
                range.low = crossing.unwrap_or(range.low);
            }
            newer = Some(candidate);
        });
        range
    }

    /// Walks from the newest onset to the oldest.
    fn for_each_onset(&self, fit: impl Fn(&Segment) -> (f64, f64), mut visit: impl FnMut(Change)) {
        let mut later: Option<Segment> = None;
        for segment in self.segments.iter().rev() {
            let mut suffix = *segment;
            if let Some(later) = &later {
                suffix.append(later);
            }
            later = Some(suffix);
            let (size, variance) = fit(&suffix);
            // No spread of times yet: a drift cannot be told.
            if suffix.observations < self.design.least_observations || !variance.is_finite() {
                continue;
            }
            visit(Change {
                evidence: 0.5 * size * size / variance,
                onset: suffix.start,
                onset_range: Interval { low: suffix.start, high: suffix.start },
                observations: suffix.observations,
                size,
                variance,
            });
        }
    }

    /// Forgets everything, after a change has been dealt with or the baseline set anew.
    pub fn reset(&mut self) {
        self.segments.clear();
    }
}

/// The evidence at which a test for a step of either sign runs `arl` observations on average before a false
/// signal.
///
/// From the asymptotic run length of Siegmund & Venkatraman (1995), √(2π) exp(b²/2) / (b ∫₀ᵇ x ν(x)² dx) with
/// b²/2 the evidence; within about a tenth of simulation for run lengths of 100 to 10,000 with every onset
/// kept. `NaN` for `arl` below about 10.
pub fn step_limit(arl: f64) -> f64 {
    let b = limit_for(arl, 3.0, |b| {
        let crossings: f64 =
            gauss_legendre(24, 0.0, b).iter().map(|n| n.weight * n.at * overshoot(n.at).powi(2)).sum();
        (2.0 * std::f64::consts::PI).sqrt() * (0.5 * b * b).exp() / (b * crossings)
    });
    0.5 * b * b
}

/// Siegmund's ν(x), the correction for the overshoot of a random walk in discrete time, by the approximation
/// of Siegmund & Yakir (2007): (2/x)(Φ(x/2) − ½) / ((x/2)Φ(x/2) + φ(x/2)).
fn overshoot(x: f64) -> f64 {
    let half = 0.5 * x;
    let above = normal::cumulative(half);
    (above - 0.5) / half / (half * above + normal::density(half))
}

#[cfg(test)]
#[expect(clippy::float_cmp, reason = "these results are exact")]
mod tests {
    use super::*;

    const DESIGN: Design = Design { candidates: 16, span: 1e9, least_observations: 1 };

    fn feed(glr: &mut Glr, values: impl IntoIterator<Item = f64>) {
        for (i, value) in values.into_iter().enumerate() {
            glr.observe(i as f64, value, 1.0);
        }
    }

    #[test]
    fn a_clean_step_gives_its_size_onset_and_variance() {
        let mut glr = Glr::new(DESIGN);
        feed(&mut glr, [0.0; 6].into_iter().chain([3.0; 5]));
        let change = glr.step(0.0).expect("enough observations");
        assert_eq!((change.onset, change.observations), (6.0, 5));
        assert!((change.size - 3.0).abs() < 1e-12 && (change.variance - 0.2).abs() < 1e-12);
        assert!((change.evidence - 22.5).abs() < 1e-9);
    }

    #[test]
    fn a_clean_drift_gives_its_slope() {
        let mut glr = Glr::new(DESIGN);
        feed(&mut glr, [0.0; 6].into_iter().chain((0..8).map(|i| 0.5 * f64::from(i))));
        let change = glr.drift(0.0).expect("enough observations");
        assert_eq!(change.onset, 6.0);
        assert!((change.size - 0.5).abs() < 1e-12);
    }

    #[test]
    fn precise_observations_weigh_more() {
        let mut glr = Glr::new(DESIGN);
        glr.observe(0.0, 1.0, 0.01);
        glr.observe(1.0, 9.0, 100.0);
        let change = glr.step(0.0).expect("enough observations");
        assert!((change.size - 1.0).abs() < 0.01 && change.onset == 0.0);
    }

    #[test]
    fn an_uncertain_baseline_limits_the_evidence() {
        let mut glr = Glr::new(DESIGN);
        feed(&mut glr, [0.5; 400]);
        assert!(glr.step(0.0).is_some_and(|c| c.evidence > 40.0));
        assert!(glr.step(0.25).is_some_and(|c| c.evidence < 0.5));
    }

    #[test]
    fn one_wild_value_is_no_change_when_more_are_asked_for() {
        let mut glr = Glr::new(Design { least_observations: 3, ..DESIGN });
        feed(&mut glr, [0.0, 0.0, 0.0, 0.0, 0.0, 9.0]);
        assert!(glr.step(0.0).is_some_and(|c| c.observations >= 3));
        assert_eq!(Glr::new(DESIGN).step(0.0), None);
    }

    #[test]
    fn memory_is_bounded_and_merging_loses_no_sum() {
        let (mut small, mut large) = (Glr::new(DESIGN), Glr::new(Design { candidates: 2000, ..DESIGN }));
        let values = || (0..1500).map(|i| f64::from(i % 7) - 3.0 + if i >= 900 { 0.3 } else { 0.0 });
        feed(&mut small, values());
        feed(&mut large, values());
        assert_eq!(small.segments.len(), 16);
        assert_eq!(small.segments[0].start, 0.0);
        let (a, b) = (small.step(0.0).expect("fed"), large.step(0.0).expect("fed"));
        assert!(a.evidence <= b.evidence + 1e-9 && a.evidence > 0.9 * b.evidence, "{a:?} {b:?}");
        let all = |glr: &Glr| {
            glr.segments.iter().skip(1).fold(glr.segments[0], |mut sum, segment| {
                sum.append(segment);
                sum
            })
        };
        assert!((all(&small).time_value - all(&large).time_value).abs() < 1e-6);
        assert!((all(&small).time_square / all(&large).time_square - 1.0).abs() < 1e-12);
    }

    #[test]
    fn onsets_beyond_the_span_are_forgotten() {
        let mut glr = Glr::new(Design { span: 5.0, ..DESIGN });
        feed(&mut glr, [1.0; 20]);
        assert_eq!(glr.step(0.0).map(|c| c.onset), Some(14.0));
    }

    #[test]
    fn what_cannot_be_used_changes_nothing() {
        let mut glr = Glr::new(DESIGN);
        feed(&mut glr, [1.0; 3]);
        let before = glr.clone();
        for (at, value, variance) in [
            (3.0, f64::NAN, 1.0),
            (3.0, 1.0, 0.0),
            (3.0, 1.0, -1.0),
            (3.0, 1.0, f64::NAN),
            (f64::NAN, 1.0, 1.0),
        ] {
            glr.observe(at, value, variance);
        }
        assert_eq!(glr, before);
    }
}
