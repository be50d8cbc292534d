//! Robust trend: Mann–Kendall's test and Theil–Sen's slope, both with censored observations.
//!
//! A censored observation is a bound. A pair counts where its order is known whatever the true values are,
//! and says nothing where it is not. The variance of Kendall's S allows for ties and censoring alike through
//! the permutation variance of a generalised correlation (Daniels 1944; used for censored data by Brown,
//! Hollander & Korwar 1974). The slope is the one at which the residuals show no trend (Akritas, Murphy &
//! `LaValley` 1995); without censoring it is Theil–Sen's median of the pairwise slopes.

use serde::{Deserialize, Serialize};

use super::interval::Interval;
use super::{normal, robust};

/// What is known of a value.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Censoring {
    /// The value itself.
    Exact,
    /// The truth is the value or more.
    AtLeast,
    /// The truth is the value or less.
    AtMost,
}

/// One observation.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Observation {
    /// When, in the caller's unit.
    pub at: f64,
    /// What was seen.
    pub value: f64,
    /// What that means.
    pub censoring: Censoring,
}

impl Observation {
    /// An uncensored one.
    pub fn exact(at: f64, value: f64) -> Self {
        Self { at, value, censoring: Censoring::Exact }
    }

    /// Whether the truth can lie above, and below, the value.
    fn open(&self) -> (bool, bool) {
        match self.censoring {
            Censoring::Exact => (false, false),
            Censoring::AtLeast => (true, false),
            Censoring::AtMost => (false, true),
        }
    }
}

/// Result of the Mann–Kendall test.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MannKendall {
    /// Kendall's S: rising pairs less falling pairs.
    pub s: f64,
    /// Variance of S without trend.
    pub variance: f64,
    /// S in standard deviations, with the continuity correction.
    pub z: f64,
    /// Probability of an S this far from 0 either way without trend: exact for up to 40 observations without
    /// ties or censoring, else normal.
    pub p_two_sided: f64,
    /// Probability of an S this large without trend, likewise.
    pub p_rising: f64,
}

/// Slope of a trend.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Slope {
    /// Change a unit of time.
    pub slope: f64,
    /// Confidence interval of the slope; an end is infinite where the observations do not bound it.
    pub interval: Interval,
    /// Value at time 0: the median residual of the exact observations.
    pub intercept: f64,
}

/// Mann–Kendall test for a monotonic trend; `None` for fewer than three observations, or when no pair has a
/// known order.
pub fn mann_kendall(observations: &[Observation]) -> Option<MannKendall> {
    let score = Score::of(observations, 0.0);
    if observations.len() < 3 || score.variance <= 0.0 {
        return None;
    }
    let s = score.s;
    let z = (s - s.signum() * f64::from(u8::from(s != 0.0))) / score.variance.sqrt();
    let (p_rising, p_two_sided) = if score.all_pairs_ordered && observations.len() <= MOST_FOR_EXACT {
        let p = |s| exact_tail(observations.len(), s);
        (p(s), (2.0 * p(s.abs())).min(1.0))
    } else {
        (normal::tail(z), 2.0 * normal::tail(z.abs()))
    };
    Some(MannKendall { s, variance: score.variance, z, p_two_sided, p_rising })
}

/// Theil–Sen slope with a confidence interval of the given `confidence` (Sen 1968); `None` where nothing
/// bounds it.
///
/// Looks at every pair: meant for up to a few hundred observations, evaluated now and then.
pub fn theil_sen(observations: &[Observation], confidence: f64) -> Option<Slope> {
    let turns = Turns::of(observations);
    let slope = turns.median()?;
    let spread = normal::half_width(confidence) * Score::of(observations, 0.0).variance.sqrt();
    let mut residuals: Vec<f64> = observations
        .iter()
        .filter(|o| o.censoring == Censoring::Exact)
        .map(|o| o.value - slope * o.at)
        .collect();
    Some(Slope { slope, interval: turns.interval(spread), intercept: robust::median(&mut residuals) })
}

/// Kendall's S of the residuals from a slope, and its variance without trend.
struct Score {
    s: f64,
    variance: f64,
    all_pairs_ordered: bool,
}

impl Score {
    fn of(observations: &[Observation], slope: f64) -> Self {
        let mut s = 0.0;
        let mut values = PermutationSums::default();
        let mut times = PermutationSums::default();
        let mut all_pairs_ordered = true;
        for a in observations {
            let (mut value_row, mut time_row) = (0.0, 0.0);
            for b in observations {
                let value = order(a, b, slope);
                let time = sign(b.at - a.at);
                s += 0.5 * value * time;
                values.squares += value * value;
                times.squares += time * time;
                value_row += value;
                time_row += time;
                all_pairs_ordered &= std::ptr::eq(a, b) || (value != 0.0 && time != 0.0);
            }
            values.rows += value_row * value_row;
            times.rows += time_row * time_row;
        }
        Self {
            s,
            variance: PermutationSums::variance(&values, &times, observations.len() as f64),
            all_pairs_ordered,
        }
    }
}

/// For scores aᵢⱼ: Σᵢ (Σⱼ aᵢⱼ)² and Σᵢⱼ aᵢⱼ².
#[derive(Default)]
struct PermutationSums {
    rows: f64,
    squares: f64,
}

impl PermutationSums {
    /// Variance of ½ Σ aᵢⱼ bᵢⱼ over all pairings of the two orders (Daniels 1944).
    fn variance(a: &Self, b: &Self, n: f64) -> f64 {
        if n < 3.0 {
            return 0.0;
        }
        let crossed = (a.rows - a.squares) * (b.rows - b.squares) / (n * (n - 1.0) * (n - 2.0));
        crossed + a.squares * b.squares / (2.0 * n * (n - 1.0))
    }
}

/// +1 where b's residual is known to be above a's, −1 where below, 0 where equal or unknown.
fn order(a: &Observation, b: &Observation, slope: f64) -> f64 {
    let difference = sign((b.value - a.value) - slope * (b.at - a.at));
    let ((a_up, a_down), (b_up, b_down)) = (a.open(), b.open());
    let contradicted = if difference > 0.0 { a_up || b_down } else { a_down || b_up };
    if contradicted { 0.0 } else { difference }
}

fn sign(x: f64) -> f64 {
    if x > 0.0 {
        1.0
    } else if x < 0.0 {
        -1.0
    } else {
        0.0
    }
}

/// The slopes at which S of the residuals steps down, in order, each with the size of its step: 2 where an
/// ordered pair turns from rising to falling, 1 where a censored pair gains or loses its order.
struct Turns {
    steps: Vec<(f64, f64)>,
    /// S at a slope of −∞.
    top: f64,
    /// S at a slope of +∞.
    bottom: f64,
}

impl Turns {
    fn of(observations: &[Observation]) -> Self {
        let (mut steps, mut top, mut bottom) = (Vec::new(), 0.0, 0.0);
        for (i, a) in observations.iter().enumerate() {
            for b in &observations[i + 1..] {
                let (first, second) = if a.at <= b.at { (a, b) } else { (b, a) };
                let ((first_up, first_down), (second_up, second_down)) = (first.open(), second.open());
                let rising = f64::from(u8::from(!(first_up || second_down)));
                let falling = f64::from(u8::from(!(first_down || second_up)));
                if first.at < second.at && rising + falling > 0.0 {
                    steps.push(((second.value - first.value) / (second.at - first.at), rising + falling));
                    top += rising;
                    bottom -= falling;
                }
            }
        }
        steps.sort_unstable_by(|a, b| a.0.total_cmp(&b.0));
        Self { steps, top, bottom }
    }

    /// Where S passes through 0: the middle of the slopes at which it is 0, or the step that jumps over it.
    fn median(&self) -> Option<f64> {
        if self.top <= 0.0 || self.bottom >= 0.0 {
            return None;
        }
        let (low, high) = (self.first_not_above(0.0)?, self.first_below(0.0)?);
        Some(0.5 * (low + high))
    }

    /// The slopes at which |S| is no more than `spread`.
    fn interval(&self, spread: f64) -> Interval {
        Interval {
            low: self.first_not_above(spread).filter(|_| self.top > spread).unwrap_or(f64::NEG_INFINITY),
            high: self.first_below(-spread).filter(|_| self.bottom < -spread).unwrap_or(f64::INFINITY),
        }
    }

    fn first_not_above(&self, level: f64) -> Option<f64> {
        self.first(|s| s <= level)
    }

    fn first_below(&self, level: f64) -> Option<f64> {
        self.first(|s| s < level)
    }

    fn first(&self, reached: impl Fn(f64) -> bool) -> Option<f64> {
        let mut s = self.top;
        self.steps.iter().find_map(|&(slope, step)| {
            s -= step;
            reached(s).then_some(slope)
        })
    }
}

/// Largest count for the exact distribution of S; beyond it the normal approximation is closer than 1e-4.
const MOST_FOR_EXACT: usize = 40;

/// P(S ≥ s) for `count` observations without ties and without trend.
///
/// The number of falling pairs is a sum of independent uniform counts 0..=i, so its distribution builds up by
/// convolution (Kendall 1975).
fn exact_tail(count: usize, s: f64) -> f64 {
    let pairs = count * (count - 1) / 2;
    let mut distribution = vec![0.0; pairs + 1];
    distribution[0] = 1.0;
    for i in 1..count {
        let mut running = 0.0;
        let before = distribution.clone();
        for (falling, probability) in distribution.iter_mut().enumerate() {
            running += before[falling];
            if falling > i {
                running -= before[falling - i - 1];
            }
            *probability = running / (i as f64 + 1.0);
        }
    }
    let most_falling = ((pairs as f64 - s) / 2.0).floor();
    if most_falling < 0.0 {
        return 0.0;
    }
    distribution.iter().take(most_falling as usize + 1).sum::<f64>().min(1.0)
}

/// The latest observations, bounded in number and age.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Window {
    capacity: u16,
    span: f64,
    observations: Vec<Observation>,
}

impl Window {
    /// An empty window of at most `capacity` observations (1 or more), none older than `span` before the
    /// newest.
    pub fn new(capacity: u16, span: f64) -> Self {
        Self { capacity, span, observations: Vec::with_capacity(usize::from(capacity)) }
    }

    /// Takes one observation, in order of time; one that is not finite changes nothing.
    pub fn push(&mut self, observation: Observation) {
        if !(observation.at.is_finite() && observation.value.is_finite()) {
            return;
        }
        let oldest = observation.at - self.span;
        let aged = self.observations.iter().take_while(|o| o.at < oldest).count();
        let crowded = (self.observations.len() + 1).saturating_sub(usize::from(self.capacity.max(1)));
        self.observations.drain(..aged.max(crowded));
        self.observations.push(observation);
    }

    /// The observations, oldest first.
    pub fn as_slice(&self) -> &[Observation] {
        &self.observations
    }

    /// Forgets everything.
    pub fn clear(&mut self) {
        self.observations.clear();
    }
}

#[cfg(test)]
#[expect(clippy::float_cmp, reason = "these results are exact")]
mod tests {
    use super::*;

    fn exact(values: &[f64]) -> Vec<Observation> {
        values.iter().enumerate().map(|(i, &value)| Observation::exact(i as f64, value)).collect()
    }

    #[test]
    fn fewer_than_three_or_all_equal_show_nothing() {
        assert_eq!(mann_kendall(&exact(&[1.0, 2.0])), None);
        assert_eq!(mann_kendall(&exact(&[1.0; 6])), None);
        assert_eq!(theil_sen(&[], 0.95), None);
        assert_eq!(theil_sen(&exact(&[1.0]), 0.95), None);
    }

    #[test]
    fn exact_probabilities_sum_over_both_tails() {
        for (n, s) in [(5, 4.0), (9, 16.0), (12, 0.0)] {
            let both = exact_tail(n, s) + exact_tail(n, -s + 2.0);
            assert!((both - 1.0).abs() < 1e-12, "{n} {s} {both}");
        }
    }

    #[test]
    fn a_bound_counts_only_where_the_order_is_known() {
        let exact = Observation::exact(0.0, 5.0);
        let bound = |value, censoring| Observation { at: 1.0, value, censoring };
        assert_eq!(order(&exact, &bound(6.0, Censoring::AtLeast), 0.0), 1.0);
        assert_eq!(order(&exact, &bound(4.0, Censoring::AtLeast), 0.0), 0.0);
        assert_eq!(order(&exact, &bound(4.0, Censoring::AtMost), 0.0), -1.0);
        assert_eq!(order(&exact, &bound(6.0, Censoring::AtMost), 0.0), 0.0);
        assert_eq!(order(&bound(6.0, Censoring::AtLeast), &bound(4.0, Censoring::AtMost), 0.0), -1.0);
    }

    #[test]
    fn early_values_below_detection_do_not_hide_a_rise() {
        let mut observations = exact(&[1.0, 1.0, 1.0, 1.0, 2.0, 3.0, 4.0, 5.0]);
        for o in &mut observations[..4] {
            o.censoring = Censoring::AtMost;
        }
        let test = mann_kendall(&observations).expect("many pairs are ordered");
        assert_eq!(test.s, 22.0);
        assert!(test.p_rising < 0.01);
        let slope = theil_sen(&observations, 0.9).expect("bounded");
        assert!(slope.slope >= 0.9 && slope.slope <= 1.1, "{slope:?}");
    }

    #[test]
    fn only_bounds_leave_the_slope_open() {
        let mut observations = exact(&[1.0, 2.0, 3.0, 4.0]);
        for o in &mut observations {
            o.censoring = Censoring::AtLeast;
        }
        assert_eq!(theil_sen(&observations, 0.9), None);
    }

    #[test]
    fn the_window_is_bounded_in_number_and_age() {
        let mut window = Window::new(4, 10.0);
        for i in 0..7 {
            window.push(Observation::exact(f64::from(i), 0.0));
        }
        assert_eq!(window.as_slice().iter().map(|o| o.at).collect::<Vec<_>>(), [3.0, 4.0, 5.0, 6.0]);
        window.push(Observation::exact(15.0, 0.0));
        assert_eq!(window.as_slice().iter().map(|o| o.at).collect::<Vec<_>>(), [5.0, 6.0, 15.0]);
        window.push(Observation::exact(16.0, f64::NAN));
        assert_eq!(window.as_slice().len(), 3);
    }
}
