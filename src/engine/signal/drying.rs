//! How a probe's water content changes while no water comes: drainage by wetness, and a daily swing.

use std::f64::consts::TAU;

use serde::{Deserialize, Serialize};

use crate::model::EventTime;
use crate::stats::robust::LocationScale;

/// Water content is divided into this many classes.
const CLASSES: usize = 30;
/// Width of a class, m³/m³.
const WIDTH: f64 = 0.02;
/// Hours of evidence that a class remembers; drainage changes with roots and seasons.
const CLASS_MEMORY_H: f32 = 100.0;
/// Hours of evidence that a class's neighbours count for.
const FIRST_HOURS: f32 = 2.0;
/// Step of the daily swing towards each observation, at first and for good (about four days' memory).
const FIRST_STEP: f64 = 0.05;
const LAST_STEP: f64 = 0.005;
/// Observations are held within this many of their usual deviations.
const BOUND: f64 = 3.0;
/// Longest step of integration, hours.
const LONGEST_STEP_H: f64 = 0.5;

/// The rate at which a probe dries, learnt from the times without water.
///
/// Drainage is a function of water content, kept as one rate for each class of it: soils differ in its shape,
/// and the table follows any. On top lies a daily swing, the first harmonic of a day: the probe's own
/// response to temperature, and plants that draw by day.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) struct Drying {
    /// Fall by class, m³/m³ an hour, 0 or above.
    falls: [f32; CLASSES],
    /// Hours of evidence by class.
    hours: [f32; CLASSES],
    /// Cosine and sine part of the swing, m³/m³.
    swing: [f64; 2],
    /// How far observed rates lie from the expected, m³/m³ an hour.
    misses: LocationScale,
}

impl Default for Drying {
    fn default() -> Self {
        Self {
            falls: [0.0; CLASSES],
            hours: [0.0; CLASSES],
            swing: [0.0; 2],
            misses: LocationScale::new(200.0, 1e-4),
        }
    }
}

impl Drying {
    /// The water content expected at `to` if it was `content` at `from` and no water came.
    pub(crate) fn expect(&self, content: f64, from: EventTime, to: EventTime) -> f64 {
        content - self.drained(content, from, to) + self.swing_at(to) - self.swing_at(from)
    }

    /// What drains between two times from soil that shows `content` at the first.
    pub(crate) fn drained(&self, content: f64, from: EventTime, to: EventTime) -> f64 {
        self.drained_without_swing(content - self.swing_at(from), (to - from).hours_f64())
    }

    fn drained_without_swing(&self, content: f64, hours: f64) -> f64 {
        let steps = (hours / LONGEST_STEP_H).ceil().clamp(1.0, 96.0);
        let step = hours / steps;
        let mut left = content;
        for _ in 0..steps as u32 {
            left -= self.fall(left) * step;
        }
        content - left
    }

    /// Fall by drainage at a water content, m³/m³ an hour.
    ///
    /// Between classes with evidence a straight line; below the driest of them its fall; above the wettest
    /// the line through the wettest two goes on, since drainage grows with wetness.
    pub(crate) fn fall(&self, content: f64) -> f64 {
        let place = content / WIDTH - 0.5;
        let split = (place.floor() + 1.0).clamp(0.0, CLASSES as f64) as usize;
        let known = |i: &usize| self.hours[*i] > 0.0;
        let below = (0..split).rev().find(known);
        let above = (split..CLASSES).find(known);
        let line = |i: usize, j: usize| {
            let (fall_i, fall_j) = (f64::from(self.falls[i]), f64::from(self.falls[j]));
            fall_i + (fall_j - fall_i) * (place - i as f64) / (j as f64 - i as f64)
        };
        match (below, above) {
            (None, None) => 0.0,
            (None, Some(only)) => f64::from(self.falls[only]),
            (Some(i), Some(j)) => line(i, j),
            (Some(i), None) => {
                let wettest = f64::from(self.falls[i]);
                (0..i).rev().find(known).map_or(wettest, |j| line(j, i).max(wettest))
            }
        }
    }

    /// Time in which an excess of water over its surroundings falls to 1/e at this water content, hours;
    /// `None` while unknown or where drainage does not grow with wetness.
    pub(crate) fn time_constant_h(&self, content: f64) -> Option<f64> {
        let slope = (self.fall(content + WIDTH) - self.fall(content - WIDTH)) / (2.0 * WIDTH);
        (slope > 0.0).then(|| 1.0 / slope)
    }

    /// How far a rate usually is from the expected, m³/m³ an hour.
    pub(crate) fn usual_miss(&self) -> Option<f64> {
        self.misses.scale()
    }

    /// Learns from two mean water contents with no water coming in between.
    pub(crate) fn learn(&mut self, from: (EventTime, f64), to: (EventTime, f64)) {
        let hours = (to.0 - from.0).hours_f64();
        if hours <= 0.0 {
            return;
        }
        let (first, last) = (from.1 - self.swing_at(from.0), to.1 - self.swing_at(to.0));
        let middle = 0.5 * (first + last);
        let fall = (first - last) / hours;
        let miss = fall - self.fall(middle);
        let usual = self.misses.scale();
        let bounded = usual.map_or(miss, |usual| miss.clamp(-BOUND * usual, BOUND * usual));
        self.learn_class(middle, bounded, hours as f32);
        self.learn_swing(from.0, to.0, bounded);
        self.misses.observe(miss);
    }

    /// Moves a class towards what was observed. A class without evidence starts from what its neighbours say.
    fn learn_class(&mut self, content: f64, miss: f64, hours: f32) {
        let class = (content / WIDTH).clamp(0.0, CLASSES as f64 - 1.0) as usize;
        let known = self.hours[class];
        let before = if known > 0.0 { f64::from(self.falls[class]) } else { self.fall(content) };
        let part = f64::from(hours / (FIRST_HOURS + known + hours));
        self.falls[class] = (before + part * miss).max(0.0) as f32;
        self.hours[class] = (known + hours).min(CLASS_MEMORY_H);
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
        for (part, gradient) in self.swing.iter_mut().zip(gradient) {
            *part -= step * miss * gradient / scale;
        }
    }

    fn swing_at(&self, at: EventTime) -> f64 {
        let (cos, sin) = day_phase(at);
        self.swing[0] * cos + self.swing[1] * sin
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
            assert!((drying.fall(content) / fall - 1.0).abs() < 0.1, "{content}: {}", drying.fall(content));
        }
        let tau = drying.time_constant_h(0.28).expect("learnt");
        assert!((tau / 6.0 - 1.0).abs() < 0.15, "{tau}");
    }

    #[test]
    fn a_daily_swing_is_told_from_drainage() {
        let drying = taught(|content| (content - 0.2) / 6.0, 0.01);
        assert!(
            (drying.swing[0] - 0.01).abs() < 0.002 && drying.swing[1].abs() < 0.002,
            "{:?}",
            drying.swing
        );
        assert!((drying.fall(0.28) / (0.08 / 6.0) - 1.0).abs() < 0.15, "{}", drying.fall(0.28));
    }

    #[test]
    fn nothing_learnt_means_no_change_expected() {
        let drying = Drying::default();
        let from = EventTime::from_secs(0);
        assert!((drying.expect(0.3, from, from + Span::DAY) - 0.3).abs() < 1e-12);
        assert_eq!(drying.time_constant_h(0.3), None);
    }

    #[test]
    fn an_expected_recession_never_turns_upwards() {
        let drying = taught(|content| 0.2 * (content - 0.2).max(0.0).powi(2), 0.0);
        let from = EventTime::from_secs(0);
        let mut before = 0.5;
        for i in 1..200 {
            let content = drying.expect(0.5, from, from + Span::from_mins(15 * i));
            assert!(content <= before + 1e-12);
            before = content;
        }
    }
}
