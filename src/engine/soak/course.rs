//! How the resistance of one floor went over time, as far as one witness told: its float, or the probe below it.

use serde::{Deserialize, Serialize};

use super::evidence::Told;
use crate::stats::normal;
use crate::stats::robust::median;
use crate::stats::trend::{Censoring, Observation, mann_kendall};

/// What is remembered at most; then the older half is thinned, so that everything since the last service
/// stays in view.
const MOST: usize = 64;
/// Spread of the logarithm of a resistance told by many hours of standing water under known loads, and what few hours
/// add.
const SURE: f64 = 0.07;
const UNSURE: f64 = 0.15;
/// Loads are known within this (logarithm): chips keep a part of each, and no splitter divides two alike.
const LOADS: f64 = 0.07;
/// Tails of what is seen are heavy: degrees of freedom, and the chance that a bound is simply wrong.
const FREEDOM: f64 = 4.0;
const WRONG_BOUND: f64 = 0.01;
/// What lies so many deviations below a bound agrees with it.
const FAR: f64 = 4.0;
/// What all basins have in common comes and goes with seasons: stretches over which it is looked at, and the weight
/// (inverse variance) of the belief that they have nothing in common.
const SEASON: f64 = 8.0;
const APART: f64 = 10.0;
/// A rising trend must be this unlikely without one, and amount to this factor.
const SIGNIFICANT: f64 = 0.01;
const TREND_FACTOR: f64 = 1.2;
/// Without a significant trend the last resistances must exceed all that was seen before by this factor, and
/// by this many of their deviations.
const JUMP_FACTOR: f64 = 1.5;
const JUMP_EACH: f64 = 1.5;
const JUMP_DEVIATIONS: f64 = 3.0;

/// What one stretch of days said of a floor.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) struct Seen {
    /// Which stretch, counted since 1970.
    pub(crate) stretch: i32,
    /// Logarithm of the resistance in hours; an upper bound if no water stood at the float.
    pub(crate) log_resistance: f32,
    /// Its standard deviation.
    pub(crate) spread: f32,
    /// Whether it only bounds the resistance from above.
    pub(crate) is_bound: bool,
}

/// What was seen of a floor since it was last dug, oldest first.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Course {
    seen: Vec<Seen>,
}

/// A floor that takes notably longer than it did.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Slowing {
    /// Logarithm of the resistance at first, and of late.
    pub(crate) before: f64,
    pub(crate) now: f64,
}

impl Seen {
    /// What a float told.
    pub(crate) fn by_float(stretch: i32, told: &Told) -> Self {
        let by_hours = SURE + UNSURE / (1.0 + told.stood_h);
        let spread = by_hours.hypot(LOADS * told.per_load);
        Self {
            stretch,
            log_resistance: told.log_resistance as f32,
            spread: spread as f32,
            is_bound: told.stood_h <= 0.0,
        }
    }

    /// Log likelihood of a resistance (logarithm), up to a constant.
    pub(crate) fn log_likelihood(&self, log: f64) -> f64 {
        let miss = (self.value() - log) / self.spread();
        if self.is_bound && miss > FAR {
            0.0
        } else if self.is_bound {
            (WRONG_BOUND + (1.0 - WRONG_BOUND) * normal::cumulative(miss)).ln()
        } else {
            heavy_tailed(miss)
        }
    }

    /// The resistance's logarithm.
    pub(crate) fn value(&self) -> f64 {
        f64::from(self.log_resistance)
    }

    /// Its standard deviation.
    pub(crate) fn spread(&self) -> f64 {
        f64::from(self.spread)
    }
}

impl Course {
    /// Takes what the next stretch said.
    pub(crate) fn note(&mut self, seen: Seen) {
        if self.seen.len() == MOST {
            let recent = self.seen.split_off(MOST / 2);
            self.seen = self.seen.chunks(2).map(telling).collect();
            self.seen.extend(recent);
        }
        self.seen.push(seen);
    }

    /// What was seen from a stretch on was no water.
    pub(crate) fn forget_from(&mut self, stretch: i32) {
        self.seen.retain(|seen| seen.stretch < stretch);
    }

    /// Median of what was more than a bound, from four stretches on.
    fn usual(&self) -> Option<f64> {
        let mut values: Vec<f64> = exact(&self.seen).map(Seen::value).collect();
        (values.len() >= 4).then(|| median(&mut values))
    }

    /// What was seen here, less what every basin of the system shows in the same weeks: cold water and wet ground slow
    /// them all.
    pub(crate) fn of_its_own<'a>(&self, siblings: impl Iterator<Item = &'a Self>) -> Vec<Seen> {
        let usual: Vec<(&Self, f64)> =
            siblings.filter_map(|course| Some((course, course.usual()?))).collect();
        let common = |stretch: i32| {
            let (mut sum, mut weight) = (0.0, APART);
            for (course, usual) in &usual {
                for seen in exact(&course.seen) {
                    let apart = f64::from(seen.stretch - stretch) / SEASON;
                    let own = (-0.5 * apart * apart).exp() * seen.spread().powi(-2);
                    sum += own * (seen.value() - usual);
                    weight += own;
                }
            }
            sum / weight
        };
        let own =
            |seen: &Seen| Seen { log_resistance: (seen.value() - common(seen.stretch)) as f32, ..*seen };
        self.seen.iter().map(own).collect()
    }
}

/// Log likelihood of a miss by so many deviations, up to a constant: Student's t.
pub(super) fn heavy_tailed(miss: f64) -> f64 {
    -0.5 * (FREEDOM + 1.0) * (miss * miss / FREEDOM).ln_1p()
}

/// The more telling of two: the surer one that is no bound, or the lower bound.
fn telling(pair: &[Seen]) -> Seen {
    let rank = |seen: &Seen| (!seen.is_bound, -seen.spread, -seen.log_resistance);
    let better = |a: Seen, b: &Seen| if rank(b) > rank(&a) { *b } else { a };
    pair[1..].iter().fold(pair[0], better)
}

fn exact(seen: &[Seen]) -> impl DoubleEndedIterator<Item = &Seen> {
    seen.iter().filter(|seen| !seen.is_bound)
}

/// Whether a floor has become slower than it was: by a trend, or by having left all earlier bounds behind.
pub(crate) fn slowing(seen: &[Seen]) -> Option<Slowing> {
    let levels = levels(seen)?;
    let rise = levels.now - levels.before;
    let last: Vec<&Seen> = exact(seen).rev().take(2).collect();
    let is_trend = rise > TREND_FACTOR.ln() && trend_p(seen) < SIGNIFICANT;
    let spread = last.iter().map(|seen| seen.spread()).sum::<f64>() / last.len() as f64;
    let is_jump = rise > JUMP_FACTOR.ln().max(JUMP_DEVIATIONS * spread)
        && last.iter().all(|seen| seen.value() > levels.before + JUMP_EACH.ln());
    (is_trend || is_jump).then_some(levels)
}

/// The resistance at first and of late, as logarithms.
pub(crate) fn levels(seen: &[Seen]) -> Option<Slowing> {
    let values: Vec<f64> = exact(seen).map(Seen::value).collect();
    if values.len() < 3 {
        return None;
    }
    let mut early = values[..(values.len() / 2).max(3)].to_vec();
    let mut late = values[values.len() - 3..].to_vec();
    let mut bounds: Vec<f64> = seen.iter().filter(|seen| seen.is_bound).map(Seen::value).collect();
    bounds.truncate(bounds.len().div_ceil(2));
    bounds.sort_unstable_by(f64::total_cmp);
    // The lowest bounds say most, but a single one may be a miscounted load.
    let lowest = bounds.get(bounds.len() / 5).copied().unwrap_or(f64::INFINITY);
    Some(Slowing { before: median(&mut early).min(lowest), now: median(&mut late) })
}

fn trend_p(seen: &[Seen]) -> f64 {
    let observation = |seen: &Seen| Observation {
        at: f64::from(seen.stretch),
        value: seen.value(),
        censoring: if seen.is_bound { Censoring::AtMost } else { Censoring::Exact },
    };
    let observations: Vec<Observation> = seen.iter().map(observation).collect();
    mann_kendall(&observations).map_or(1.0, |test| test.p_rising)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn seen(stretch: i32, hours: f64, stood_h: f64) -> Seen {
        Seen::by_float(stretch, &Told { log_resistance: hours.ln(), stood_h, per_load: 1.0 })
    }

    fn noise(i: i32) -> f64 {
        (0.02 * f64::from((i * 7919).rem_euclid(13) - 6)).exp()
    }

    #[test]
    fn a_floor_that_doubles_is_slowing_and_a_steady_one_is_not() {
        let steady: Vec<Seen> = (0..60).map(|i| seen(i, 5.0 * noise(i), 2.0)).collect();
        assert!((4..60).all(|n| slowing(&steady[..n]).is_none()));
        let rising: Vec<Seen> =
            (0..40).map(|i| seen(i, (5.0 + 0.5 * f64::from((i - 15).max(0))) * noise(i), 3.0)).collect();
        let found = (4..40).find(|&n| slowing(&rising[..n]).is_some());
        assert!(found.is_some_and(|n| (20..34).contains(&n)), "{found:?}");
    }

    #[test]
    fn a_float_that_begins_to_close_under_loads_it_used_to_bear_is_slowing() {
        let mut course: Vec<Seen> = (0..20).map(|i| seen(i, 6.0 * noise(i), 0.0)).collect();
        assert_eq!(slowing(&course), None);
        for (i, hours) in [(20, 14.0), (21, 17.0), (22, 18.0)] {
            course.push(seen(i, hours, 3.0));
        }
        let found = slowing(&course).expect("three times the bound");
        assert!((found.now.exp() - 17.0).abs() < 0.1 && found.before.exp() < 6.0, "{found:?}");
    }

    #[test]
    fn what_all_basins_show_in_winter_is_taken_off() {
        let winter = |i: i32| 1.0 + 0.8 * f64::from((i - 15).clamp(0, 15)) / 15.0;
        let course = |basin: i32| {
            let mut course = Course::default();
            (0..40).for_each(|i| course.note(seen(i, 5.0 * winter(i) * noise(i + basin), 3.0)));
            course
        };
        let courses = [course(0), course(1), course(2), course(3)];
        assert!(slowing(&courses[0].seen).is_some());
        assert_eq!(slowing(&courses[0].of_its_own(courses[1..].iter())), None);
    }

    #[test]
    fn the_course_is_bounded_and_keeps_its_beginning() {
        let mut course = Course::default();
        (0..1000).for_each(|i| course.note(seen(i, 5.0, if i % 3 == 0 { 2.0 } else { 0.0 })));
        assert!(course.seen.len() <= MOST);
        assert!(course.seen[0].stretch < 100, "{:?}", course.seen[0]);
    }
}
