//! How a probe's water content changes while no water comes: drainage by wetness, and a daily swing.

use std::f64::consts::TAU;

use serde::{Deserialize, Serialize};

use super::falls::Falls;
use crate::model::EventTime;
use crate::stats::robust::LocationScale;

/// Step of the daily swing towards each observation, at first and for good (about four days' memory).
const FIRST_STEP: f64 = 0.05;
const LAST_STEP: f64 = 0.005;
/// Observations are held within this many of their usual deviations.
const BOUND: f64 = 3.0;
/// Observations over fewer hours than this do not count for the usual miss.
const LONG_H: f64 = 0.45;
/// Weight of observations above and below the free fall: it lies where one in five or so falls faster.
const FASTER: f64 = 1.6;
const SLOWER: f64 = 0.4;

/// The rate at which a probe dries, learnt from the times without water.
///
/// On drainage lies a daily swing, the first harmonic of a day: the probe's own response to temperature, and
/// plants that draw by day.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) struct Drying {
    /// Usual fall: what to expect of the next reading.
    usual: Falls,
    /// Fall when nothing seeps in from the soil above, as it does for hours after a dose: what truly drains.
    free: Falls,
    /// Cosine and sine part of the swing, m³/m³.
    daily: [f64; 2],
    /// How far observed rates lie from the usual, m³/m³ an hour.
    misses: LocationScale,
}

impl Default for Drying {
    fn default() -> Self {
        Self {
            usual: Falls::default(),
            free: Falls::default(),
            daily: [0.0; 2],
            misses: LocationScale::new(200.0, 1e-4),
        }
    }
}

impl Drying {
    /// The water content expected at `to` if it was `content` at `from` and no water came.
    pub(crate) fn expect(&self, content: f64, from: EventTime, to: EventTime) -> f64 {
        let drained = self.usual.drained(content - self.swing_at(from), (to - from).hours_f64());
        content - drained + self.swing(from, to)
    }

    /// What the daily swing adds between two times.
    pub(crate) fn swing(&self, from: EventTime, to: EventTime) -> f64 {
        self.swing_at(to) - self.swing_at(from)
    }

    /// What drains between two times from soil that shows `content` at the first.
    pub(crate) fn drained(&self, content: f64, from: EventTime, to: EventTime) -> f64 {
        self.free.drained(content - self.swing_at(from), (to - from).hours_f64())
    }

    #[cfg(test)]
    /// Drainage by wetness, nothing seeping in.
    pub(crate) fn drainage(&self) -> &Falls {
        &self.free
    }

    /// How far a rate usually is from the expected, m³/m³ an hour.
    pub(crate) fn usual_miss(&self) -> Option<f64> {
        self.misses.scale()
    }

    /// Learns from two mean water contents with no wetting in between.
    pub(crate) fn learn(&mut self, from: (EventTime, f64), to: (EventTime, f64)) {
        let hours = (to.0 - from.0).hours_f64();
        if hours <= 0.0 {
            return;
        }
        let (first, last) = (from.1 - self.swing_at(from.0), to.1 - self.swing_at(to.0));
        let middle = 0.5 * (first + last);
        let fall = (first - last) / hours;
        let usual_miss = self.misses.scale();
        // What is little known may be far off, in proportion.
        let bounded = |miss: f64, expected: f64| {
            let bound = usual_miss.map_or(f64::INFINITY, |usual| BOUND * usual + expected);
            miss.clamp(-bound, bound)
        };
        let (usual, free) = (self.usual.at(middle), self.free.at(middle));
        let miss = fall - usual;
        let free_miss = bounded(fall - free, free);
        self.usual.learn(middle, bounded(miss, usual), hours);
        self.free.learn(middle, free_miss * if free_miss > 0.0 { FASTER } else { SLOWER }, hours);
        self.learn_swing(from.0, to.0, bounded(miss, 0.0));
        // Steep stretches are noisier by their shortness, which is not the drying's error.
        if hours >= LONG_H {
            self.misses.observe(miss);
        }
    }

    /// Moves the swing along its gradient (least mean squares): what fell too fast, the swing should have
    /// taken down.
    fn learn_swing(&mut self, from: EventTime, to: EventTime, miss: f64) {
        let hours = (to - from).hours_f64();
        let (c0, s0) = day_phase(from);
        let (c1, s1) = day_phase(to);
        let gradient = [(c1 - c0) / hours, (s1 - s0) / hours];
        let step = LAST_STEP.max(FIRST_STEP / (1.0 + 0.02 * f64::from(self.misses.count())));
        let scale = (TAU / 24.0).powi(2);
        for (part, gradient) in self.daily.iter_mut().zip(gradient) {
            *part -= step * miss * gradient / scale;
        }
    }

    fn swing_at(&self, at: EventTime) -> f64 {
        let (cos, sin) = day_phase(at);
        self.daily[0] * cos + self.daily[1] * sin
    }
}

/// Cosine and sine of the time of day.
fn day_phase(at: EventTime) -> (f64, f64) {
    let day = at.millis().rem_euclid(86_400_000) as f64 / 86_400_000.0;
    let (sin, cos) = (TAU * day).sin_cos();
    (cos, sin)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::Span;

    /// Half-hourly contents of a soil that drains at `fall` and swings by `swing`, refilled now and then.
    fn taught(fall: impl Fn(f64) -> f64, swing: f64) -> Drying {
        let mut drying = Drying::default();
        let mut content = 0.34;
        let mut before: Option<(EventTime, f64)> = None;
        for i in 0..2_000 {
            let at = EventTime::from_secs(0) + Span::from_mins(30 * i);
            if i % 19 == 0 {
                content = 0.34;
                before = None;
            }
            content -= 0.5 * fall(content);
            let shown = content + swing * (TAU * i as f64 / 48.0).cos();
            if let Some(before) = before {
                drying.learn(before, (at, shown));
            }
            before = Some((at, shown));
        }
        drying
    }

    #[test]
    fn a_linear_reservoir_is_learnt_with_its_time_constant() {
        let drying = taught(|content| (content - 0.2) / 6.0, 0.0);
        for content in [0.25, 0.28, 0.32] {
            let fall = (content - 0.2) / 6.0;
            assert!((drying.usual.at(content) / fall - 1.0).abs() < 0.1, "{content}: {drying:?}");
        }
        let tau = drying.drainage().time_constant_h(0.28).expect("learnt");
        assert!((tau / 6.0 - 1.0).abs() < 0.15, "{tau}");
    }

    #[test]
    fn a_daily_swing_is_told_from_drainage() {
        let drying = taught(|content| (content - 0.2) / 6.0, 0.01);
        let [cos, sin] = drying.daily;
        assert!((cos - 0.01).abs() < 0.002 && sin.abs() < 0.002, "{cos} {sin}");
        assert!((drying.usual.at(0.28) / (0.08 / 6.0) - 1.0).abs() < 0.15, "{drying:?}");
    }

    #[test]
    fn seepage_from_above_slows_the_usual_fall_and_not_the_free_one() {
        let mut drying = Drying::default();
        for i in 0..2_000 {
            let at = EventTime::from_secs(0) + Span::from_mins(30 * i);
            let content = 0.3;
            // Every other hour seepage makes up for half of the drainage.
            let fall = if (i / 2) % 2 == 0 { 0.01 } else { 0.005 };
            drying.learn((at, content), (at + Span::from_mins(30), content - 0.5 * fall));
        }
        let (usual, free) = (drying.usual.at(0.3), drying.free.at(0.3));
        assert!((usual - 0.0075).abs() < 0.001 && free > 0.0085, "{usual} {free}");
    }

    #[test]
    fn nothing_learnt_means_no_change_expected() {
        let from = EventTime::from_secs(0);
        assert!((Drying::default().expect(0.3, from, from + Span::DAY) - 0.3).abs() < 1e-12);
    }
}
