//! Means of a few readings, in pairs: what a probe's drying is learnt from.

use serde::{Deserialize, Serialize};

use crate::model::{EventTime, Span};

/// A block holds four readings and lasts half an hour to an hour.
const SHORTEST: Span = Span::from_mins(30);
const LONGEST: Span = Span::from_hours(1);
const READINGS: u32 = 4;

/// The mean being formed, and the one before it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Block {
    began: Option<EventTime>,
    count: u32,
    /// Mean time after the beginning, hours, and mean content.
    mean: (f64, f64),
    before: Option<Mean>,
    /// Readings in the last full block.
    usual_count: u32,
}

/// Mean time and mean content of a block.
pub(crate) type Mean = (EventTime, f64);

impl Block {
    /// Takes a reading; a full block and the one before it make a pair. A reading `step` away from the mean
    /// begins a block before its time: drainage is fast then.
    pub(crate) fn take(&mut self, at: EventTime, value: f64, step: f64) -> Option<(Mean, Mean)> {
        let began = *self.began.get_or_insert(at);
        let enough = self.count >= READINGS || at - began >= LONGEST;
        let full = at - began >= SHORTEST && enough;
        let mut pair = None;
        if self.count > 0 && (full || (value - self.mean.1).abs() > step) {
            let mean = (began + Span::from_hours_f64(self.mean.0), self.mean.1);
            pair = self.before.map(|before| (before, mean));
            let usual_count = if full { self.count } else { self.usual_count };
            *self = Self { began: Some(at), before: Some(mean), usual_count, ..Self::default() };
        }
        let since = self.began.map_or(0.0, |began| (at - began).hours_f64());
        self.count += 1;
        let part = 1.0 / f64::from(self.count);
        self.mean.0 += part * (since - self.mean.0);
        self.mean.1 += part * (value - self.mean.1);
        pair
    }

    /// Forgets the readings: nothing is learnt across this moment.
    pub(crate) fn interrupt(&mut self) {
        *self = Self { usual_count: self.usual_count, ..Self::default() };
    }

    /// Variance that noise of a reading's `variance` gives the rate between two full blocks of readings every
    /// `step_h` hours, per hour squared.
    pub(crate) fn rate_variance(&self, variance: f64, step_h: f64) -> f64 {
        let readings = f64::from(self.usual_count.max(1));
        let span = SHORTEST.hours_f64().max(step_h * readings);
        2.0 * variance / (readings * span * span)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pairs(every_min: i64, values: &[f64]) -> Vec<(Mean, Mean)> {
        let mut block = Block::default();
        let at = |i: usize| EventTime::from_secs(0) + Span::from_mins(every_min * i as i64);
        values.iter().enumerate().filter_map(|(i, &value)| block.take(at(i), value, 0.01)).collect()
    }

    #[test]
    fn frequent_readings_are_averaged_over_half_an_hour() {
        let found = pairs(5, &[0.3; 13]);
        assert_eq!(found.len(), 1);
        assert_eq!(found[0].1.0 - found[0].0.0, Span::from_mins(30));
    }

    #[test]
    fn rare_readings_stand_alone() {
        assert_eq!(pairs(60, &[0.3; 5]).len(), 3);
    }

    #[test]
    fn a_steep_stretch_is_not_averaged_away() {
        assert_eq!(pairs(15, &[0.40, 0.38, 0.36, 0.34]).len(), 2);
    }
}
