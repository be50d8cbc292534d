//! How fast soil drains, by how wet it is.

use serde::{Deserialize, Serialize};

/// Water content is divided into this many classes.
const CLASSES: usize = 30;
/// Width of a class, m³/m³.
const WIDTH: f64 = 0.02;
/// Hours of evidence that a class remembers; drainage changes with roots and seasons.
const MEMORY_H: f32 = 40.0;
/// Hours of evidence that a class's neighbours count for.
const NEIGHBOURS_H: f32 = 2.0;
/// Longest step of integration, hours.
const LONGEST_STEP_H: f64 = 0.5;

/// One rate for each class of water content: soils differ in the shape of their drainage, and a table follows
/// any.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Falls {
    /// Fall by class, m³/m³ an hour, 0 or above.
    rates: [f32; CLASSES],
    /// Hours of evidence by class.
    hours: [f32; CLASSES],
}

impl Falls {
    /// Fall at a water content, m³/m³ an hour; 0 while nothing is known.
    ///
    /// Between classes with evidence a straight line; below the driest of them its fall; above the wettest
    /// the line through the wettest two goes on, since drainage grows with wetness.
    pub(crate) fn at(&self, content: f64) -> f64 {
        let place = content / WIDTH - 0.5;
        let split = (place.floor() + 1.0).clamp(0.0, CLASSES as f64) as usize;
        let known = |i: &usize| self.hours[*i] > 0.0;
        let rate = |i: usize| f64::from(self.rates[i]);
        let line =
            |i: usize, j: usize| rate(i) + (rate(j) - rate(i)) * (place - i as f64) / (j as f64 - i as f64);
        match ((0..split).rev().find(known), (split..CLASSES).find(known)) {
            (None, None) => 0.0,
            (None, Some(driest)) => rate(driest),
            (Some(below), Some(above)) => line(below, above),
            (Some(wettest), None) => {
                let next = (0..wettest).rev().find(known);
                next.map_or(rate(wettest), |next| line(next, wettest).max(rate(wettest)))
            }
        }
    }

    /// What drains in some hours from soil at a water content.
    pub(crate) fn drained(&self, content: f64, hours: f64) -> f64 {
        let steps = (hours / LONGEST_STEP_H).ceil().clamp(1.0, 96.0);
        let step = hours / steps;
        let mut left = content;
        for _ in 0..steps as u32 {
            left -= self.at(left) * step;
        }
        content - left
    }

    #[cfg(test)]
    /// Time in which an excess of water falls to 1/e at this water content, hours; `None` while unknown or
    /// where drainage does not grow with wetness.
    pub(crate) fn time_constant_h(&self, content: f64) -> Option<f64> {
        let slope = (self.at(content + WIDTH) - self.at(content - WIDTH)) / (2.0 * WIDTH);
        (slope > 0.0).then(|| 1.0 / slope)
    }

    /// Moves the fall at a water content by `miss` times the weight of some hours of evidence. A class
    /// without evidence starts from what its neighbours say.
    pub(crate) fn learn(&mut self, content: f64, miss: f64, hours: f64) {
        let class = (content / WIDTH).clamp(0.0, CLASSES as f64 - 1.0) as usize;
        let known = self.hours[class];
        let before = if known > 0.0 { f64::from(self.rates[class]) } else { self.at(content) };
        let part = hours / (f64::from(NEIGHBOURS_H + known) + hours);
        self.rates[class] = (before + part * miss).max(0.0) as f32;
        self.hours[class] = (known + hours as f32).min(MEMORY_H);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_learnt_means_nothing_drains() {
        let falls = Falls::default();
        assert!(falls.drained(0.4, 24.0).abs() < 1e-12);
        assert_eq!(falls.time_constant_h(0.3), None);
    }

    #[test]
    fn a_learnt_line_goes_on_above_the_wettest_class() {
        let mut falls = Falls::default();
        for i in 0..4_000 {
            let content = 0.2 + 0.1 * f64::from(i % 100) / 100.0;
            let miss = (content - 0.2) / 5.0 - falls.at(content);
            falls.learn(content, miss, 0.5);
        }
        assert!((falls.at(0.25) - 0.01).abs() < 0.001, "{}", falls.at(0.25));
        assert!((falls.at(0.40) - 0.04).abs() < 0.006, "{}", falls.at(0.40));
        assert!(falls.at(0.15) < 0.003 && falls.at(0.15) >= 0.0);
        assert!(falls.time_constant_h(0.25).is_some_and(|tau| (tau - 5.0).abs() < 1.0));
    }

    #[test]
    fn a_recession_never_turns_upwards() {
        let mut falls = Falls::default();
        falls.learn(0.3, 0.01, 5.0);
        falls.learn(0.25, 0.004, 5.0);
        let mut before = 0.0;
        for quarter in 1..200 {
            let drained = falls.drained(0.5, 0.25 * f64::from(quarter));
            assert!(drained >= before - 1e-9, "{drained} after {before}");
            before = drained;
        }
    }
}
