//! What the probe below a floor says of its resistance: the slower water passes, the later it comes.
//!
//! Long before water stands as high as a float, a mat that silts up spreads each dose over hours. The mean time at
//! which a wetting came, less the mean time at which [`Floor`] would have let the same doses through, is the soil's
//! own lag. That is learnt under a floor taken to be clean; what is later from then on is the floor's doing.

use serde::{Deserialize, Serialize};

use super::course::{Seen, heavy_tailed};
use super::evidence::load;
use super::floor::Floor;
use super::pool::{Passed, Pool};
use crate::engine::signal::Wetting;
use crate::model::{EventTime, Span};

/// A dose shows at a probe within this time.
const SHOWS_WITHIN: Span = Span::from_hours(3);
/// Doses closer than this are one.
const JOINED: Span = Span::from_mins(45);
/// What stood before that time is gone, or as good as steady.
const WARM_UP: Span = Span::DAY;
/// A wetting of less water says nothing, mm.
const LEAST_MM: f64 = 1.0;
/// Wettings that tell the lag of the soil.
const LAG_FROM: usize = 32;
/// Wettings heard in one stretch at most.
const MOST: usize = 32;
/// How far mean times miss, hours (by the scoreboard's tuning seeds).
const MISS_H: f64 = 0.7;
/// Deviations by which a wetting misses if the floor lets no water through in its time.
const NEVER: f64 = 3.0;
/// The part of their variance that the misses of one stretch share, over the rest: a lag is not learnt exactly, and wet
/// and dry weeks change it.
const SHARED: f64 = 0.04;
/// The least spread of the logarithm of a resistance told like this, and the most that is of use.
const SURE: f64 = 0.15;
const VAGUE: f64 = 1.2;
/// A clean floor passes water as this depth of its soil does, mm.
const CLEAN_MM: f64 = 30.0;
/// Resistances to choose from, hours, evenly spaced in their logarithm.
const LEAST_H: f64 = 0.5;
const MOST_H: f64 = 400.0;
const STEPS: usize = 20;
/// A likelihood that has not fallen below this part of its peak at the least resistance says "at most".
const OPEN: f64 = 0.5;

/// What one floor's probe told of late.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Seepage {
    wettings: Vec<Seeped>,
    /// The lags of the first wettings under this floor, hours.
    lags_h: Vec<f32>,
}

#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
struct Seeped {
    began: EventTime,
    mean: EventTime,
    ended: EventTime,
}

/// Resistance of a floor without a mat, hours.
pub(crate) fn clean_h(conductivity_mm_h: f64) -> f64 {
    CLEAN_MM / conductivity_mm_h
}

impl Seepage {
    /// A wetting is over.
    pub(crate) fn note(&mut self, wetting: &Wetting) {
        if !wetting.censored && self.wettings.len() < MOST {
            let mean = wetting.began + wetting.delay;
            self.wettings.push(Seeped { began: wetting.began, mean, ended: wetting.ended });
        }
    }

    /// What came in this stretch so far says nothing.
    pub(crate) fn break_off(&mut self) {
        self.wettings.clear();
    }

    /// What the wettings of this stretch say together, under `loads` (depths at times); nothing while the lag of the
    /// soil is not known, or if they agree with every floor. The float saw that the resistance is at most `bound`.
    pub(crate) fn close<L>(
        &mut self,
        floor: &Floor,
        (clean_h, bound): (f64, Option<Seen>),
        stretch: i32,
        loads: impl Fn(EventTime, EventTime) -> L,
    ) -> Option<Seen>
    where
        L: Iterator<Item = (EventTime, f64)> + Clone,
    {
        let (mut logs, mut heard) = ([0.0; STEPS], 0.0);
        for wetting in std::mem::take(&mut self.wettings) {
            let Some(from) = wetting.dosed_from(&loads) else { continue };
            let late_h = |resistance_h: f64| {
                let loads = loads(from - WARM_UP, wetting.ended);
                let passes_h = passes_h(floor, resistance_h, (from, wetting.ended), loads)?;
                Some((wetting.mean - from).hours_f64() - passes_h)
            };
            let Some(late_if_clean_h) = late_h(clean_h) else { continue };
            if self.lags_h.len() < LAG_FROM {
                self.lags_h.push(late_if_clean_h as f32);
                continue;
            }
            let lag_h = self.lag_h();
            heard += 1.0;
            for (i, log) in logs.iter_mut().enumerate() {
                let miss = late_h(step(i).exp()).map_or(NEVER, |late_h| (late_h - lag_h) / MISS_H);
                *log += heavy_tailed(miss);
            }
        }
        if heard < 1.0 {
            return None;
        }
        let under_bound = |log: f64| bound.map_or(0.0, |seen| seen.log_likelihood(log));
        seen(stretch, &std::array::from_fn(|i| logs[i] / (1.0 + heard * SHARED) + under_bound(step(i))))
    }

    fn lag_h(&self) -> f64 {
        let mut lags: Vec<f64> = self.lags_h.iter().map(|&lag| f64::from(lag)).collect();
        crate::stats::robust::median(&mut lags)
    }
}

impl Seeped {
    /// When the first of the doses came that began it.
    fn dosed_from<L>(&self, loads: impl Fn(EventTime, EventTime) -> L) -> Option<EventTime>
    where
        L: Iterator<Item = (EventTime, f64)>,
    {
        let before: Vec<EventTime> = loads(self.began - SHOWS_WITHIN, self.began).map(|(at, _)| at).collect();
        let mut from = *before.last()?;
        for &at in before.iter().rev() {
            if from - at > JOINED {
                break;
            }
            from = at;
        }
        Some(from)
    }
}

/// Mean time after `from` at which water passes until `to`, hours; none if hardly any does.
fn passes_h(
    floor: &Floor,
    resistance_h: f64,
    (from, to): (EventTime, EventTime),
    loads: impl Iterator<Item = (EventTime, f64)>,
) -> Option<f64> {
    let hour = |at: EventTime| (at - from).hours_f64();
    let mut pool = Pool::empty(hour(from - WARM_UP));
    let mut passed = Passed::default();
    for load in loads.map(load(from)) {
        if load.from_h < 0.0 {
            pool.drain(floor, resistance_h, load.from_h);
            pool.fill(floor, resistance_h, load);
            continue;
        }
        // What passes before `from` does not count.
        pool.drain(floor, resistance_h, 0.0);
        passed += pool.drain(floor, resistance_h, load.from_h).passed;
        passed += pool.fill(floor, resistance_h, load).passed;
    }
    pool.drain(floor, resistance_h, 0.0);
    passed += pool.drain(floor, resistance_h, hour(to)).passed;
    passed.mean_h(LEAST_MM)
}

fn step(i: usize) -> f64 {
    let part = i as f64 / (STEPS - 1) as f64;
    LEAST_H.ln() + part * (MOST_H / LEAST_H).ln()
}

/// The mean and spread of a likelihood, or the bound that it is; nothing if it is nearly flat.
fn seen(stretch: i32, logs: &[f64; STEPS]) -> Option<Seen> {
    let best = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let weights = logs.map(|log| (log - best).exp());
    let (log, spread, is_bound) = if weights[0] > OPEN {
        // A bound b with spread s is Φ((b − x)/s): 0.84 of it lies at b − s, 0.16 at b + s.
        let falls = |to: f64| weights.iter().rposition(|weight| *weight > to).map(step);
        let (high, low) = (falls(0.16)?, falls(0.84)?);
        let never_falls = weights[STEPS - 1] > 0.16;
        (0.5 * (low + high), if never_falls { f64::INFINITY } else { (0.5 * (high - low)).max(SURE) }, true)
    } else {
        let total: f64 = weights.iter().sum();
        let mean = |of: &dyn Fn(f64) -> f64| {
            weights.iter().enumerate().map(|(i, weight)| weight * of(step(i))).sum::<f64>() / total
        };
        let middle = mean(&|log| log);
        (middle, (mean(&|log| (log - middle).powi(2)) + SURE * SURE).sqrt(), false)
    };
    (spread < VAGUE).then_some(Seen { stretch, log_resistance: log as f32, spread: spread as f32, is_bound })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::soak::evidence::Told;
    use crate::engine::stories::yard;
    use crate::model::BasinIx;
    use crate::stats::interval::Estimate;

    const CLEAN_H: f64 = 2.0;

    fn at(hours: f64) -> EventTime {
        EventTime::from_secs(1_700_000_000) + Span::from_hours_f64(hours)
    }

    fn floor() -> Floor {
        let system = yard();
        Floor::of(system.basin(BasinIx(0)), system.soil, 40.0)
    }

    /// A dose every ten hours, large and small.
    fn loads(from: EventTime, to: EventTime) -> impl Iterator<Item = (EventTime, f64)> + Clone {
        let doses = (0..400).map(|i| (at(10.0 * f64::from(i)), [18.0, 34.0, 26.0][i as usize % 3]));
        doses.filter(move |(dose, _)| (from..to).contains(dose))
    }

    /// The wetting of dose `i` through a floor of `resistance_h`, under a soil that adds an hour, more or less.
    fn wetting(i: i32, resistance_h: f64) -> Wetting {
        let from = at(10.0 * f64::from(i));
        let (began, ended) = (from + Span::from_mins(20), from + Span::from_hours(9));
        let passes_h = passes_h(&floor(), resistance_h, (from, ended), loads(from - WARM_UP, ended));
        let late_h = passes_h.expect("a dose passes") + 1.0 + 0.2 * f64::from(i * 7919 % 5 - 2);
        Wetting {
            began,
            peaked: began,
            delay: from + Span::from_hours_f64(late_h) - began,
            slowness: None,
            ended,
            before: 0.2,
            peak: 0.3,
            amplitude: 0.1,
            gained: Estimate { value: 0.1, variance: 1e-6 },
            censored: false,
        }
    }

    fn told(seepage: &mut Seepage, doses: std::ops::Range<i32>, resistance_h: f64) -> Option<Seen> {
        doses.for_each(|i| seepage.note(&wetting(i, resistance_h)));
        seepage.close(&floor(), (CLEAN_H, None), 7, loads)
    }

    #[test]
    fn the_resistance_that_made_the_water_late_is_found() {
        let mut seepage = Seepage::default();
        assert_eq!(told(&mut seepage, 3..35, CLEAN_H), None, "the soil's lag is being learnt");
        for (truth, from) in [(12.0, 40), (20.0, 60), (30.0, 80)] {
            let seen = told(&mut seepage, from..from + 10, truth).expect("ten wettings");
            assert!((seen.value().exp() / truth - 1.0).abs() < 0.35, "{truth} {seen:?}");
            assert!(!seen.is_bound && seen.spread() < 0.6, "{seen:?}");
        }
    }

    #[test]
    fn a_floor_that_stays_clean_is_bounded_and_a_silent_probe_says_nothing() {
        let mut seepage = Seepage::default();
        told(&mut seepage, 3..35, CLEAN_H);
        let seen = told(&mut seepage, 40..50, CLEAN_H).expect("ten wettings");
        assert!(seen.is_bound && (CLEAN_H..12.0).contains(&seen.value().exp()), "{seen:?}");
        assert_eq!(told(&mut seepage, 60..60, CLEAN_H), None);
    }

    #[test]
    fn what_the_float_saw_counts_too() {
        let with = |bound: Option<Seen>| {
            let mut seepage = Seepage::default();
            told(&mut seepage, 3..35, CLEAN_H);
            (40..43).for_each(|i| seepage.note(&wetting(i, 20.0)));
            seepage.close(&floor(), (CLEAN_H, bound), 7, loads).expect("three wettings").value().exp()
        };
        let (alone, bound) = (
            with(None),
            with(Some(Seen::by_float(
                7,
                &Told { log_resistance: 9.0_f64.ln(), stood_h: 0.0, per_load: 1.0 },
            ))),
        );
        assert!(bound < 0.8 * alone && bound < 15.0, "{bound} {alone}");
    }
}
