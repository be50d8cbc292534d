//! How far a probe rose during an episode of water, whatever it made of the single wettings.
//!
//! All probes of a system are read over the same stretch of time, so that a small response is a small
//! number and not a missing one, and what one probe shows a little earlier than another still belongs
//! to the same water.

use std::collections::VecDeque;

use serde::{Deserialize, Serialize};

use super::drying::Drying;
use crate::model::{EventTime, Span};

/// Levels remembered, no two closer than [`SPACING`].
const LEVELS: usize = 16;
const SPACING: Span = Span::from_mins(5);
/// The level before an episode is taken this long before its first sign, which may be late.
const EARLIER: Span = Span::from_mins(20);

/// A rise that grows by less than this (m³/m³), or this part of itself, is at its end.
const GROWS: f64 = 0.002;
const GROWS_BY: f64 = 0.04;

/// The last levels of a probe, and its rise since the episode that is under way began.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Trace {
    /// Time, level, and the reading that was not a spike.
    past: VecDeque<Past>,
    last_value: Option<f64>,
    rise: Option<Rise>,
}

#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
struct Past {
    at: EventTime,
    level: f64,
    value: f64,
}

/// A probe's rise over the level that it would have had without water.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) struct Rise {
    /// Where drying would have brought the level by the last reading.
    base: (EventTime, f64),
    /// Level before, m³/m³.
    pub(crate) before: f64,
    /// Most that readings exceeded the base, m³/m³.
    pub(crate) amplitude: f64,
    /// Highest reading, m³/m³.
    pub(crate) peak: f64,
    /// When the amplitude last grew by more than noise would, and how far it had come.
    pub(crate) grew_at: EventTime,
    grown: f64,
    /// When it grew, at the mean of its growth.
    pub(crate) risen_at: EventTime,
    /// Readings since.
    pub(crate) readings: u32,
}

impl Trace {
    /// Takes a reading and the level behind the noise.
    pub(crate) fn note(&mut self, at: EventTime, value: f64, level: f64, drying: &Drying) {
        // A single reading that jumps up is a spike, not water.
        let value = self.last_value.replace(value).map_or(value, |before| value.min(before));
        if let Some(rise) = &mut self.rise {
            rise.follow(at, value, drying);
        }
        if self.past.back().is_none_or(|last| at - last.at >= SPACING) {
            if self.past.len() == LEVELS {
                self.past.pop_front();
            }
            self.past.push_back(Past { at, level, value });
        }
    }

    /// An episode of water began at `at`, or a little before.
    pub(crate) fn open(&mut self, at: EventTime, drying: &Drying) {
        let before = self.past.iter().rposition(|past| past.at <= at - EARLIER).unwrap_or(0);
        let Some(start) = self.past.get(before) else { return };
        let mut rise = Rise {
            base: (start.at, start.level),
            before: start.level,
            amplitude: 0.0,
            peak: start.level,
            grew_at: start.at,
            grown: 0.0,
            risen_at: start.at,
            readings: 0,
        };
        for past in self.past.iter().skip(before + 1) {
            rise.follow(past.at, past.value, drying);
        }
        self.rise = Some(rise);
    }

    /// The rise of the episode that is under way.
    pub(crate) fn rise(&self) -> Option<&Rise> {
        self.rise.as_ref()
    }

    /// The episode is over.
    pub(crate) fn close(&mut self) {
        self.rise = None;
    }
}

impl Rise {
    /// The last reading.
    pub(crate) fn heard_at(&self) -> EventTime {
        self.base.0
    }

    fn follow(&mut self, at: EventTime, value: f64, drying: &Drying) {
        self.base = (at, drying.expect(self.base.1, self.base.0, at));
        let grows = (value - self.base.1 - self.amplitude).max(0.0);
        self.amplitude += grows;
        if grows > 0.0 {
            self.risen_at = self.risen_at + (at - self.risen_at).scaled(grows / self.amplitude);
        }
        self.peak = self.peak.max(value);
        if self.amplitude > self.grown + GROWS.max(GROWS_BY * self.grown) {
            (self.grew_at, self.grown) = (at, self.amplitude);
        }
        self.readings += 1;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn told(values: &[f64], open_at: i64) -> Rise {
        let (mut trace, drying) = (Trace::default(), Drying::default());
        let at = |i: usize| EventTime::from_secs(900 * i as i64);
        for (i, &value) in values.iter().enumerate() {
            trace.note(at(i), value, value, &drying);
            if i as i64 == open_at {
                trace.open(at(i), &drying);
            }
        }
        *trace.rise().unwrap()
    }

    #[test]
    fn a_rise_that_began_before_it_was_noticed_counts_from_below() {
        let rise = told(&[0.20, 0.20, 0.20, 0.23, 0.28, 0.30, 0.30, 0.29], 4);
        assert!((rise.amplitude - 0.10).abs() < 0.01 && (rise.before - 0.20).abs() < 1e-9, "{rise:?}");
    }

    #[test]
    fn a_spike_is_no_rise() {
        assert!(told(&[0.20, 0.20, 0.20, 0.20, 0.45, 0.20, 0.20], 3).amplitude < 0.01);
    }

    #[test]
    fn it_has_risen_at_the_mean_of_its_growth() {
        let rise = told(&[0.20, 0.20, 0.20, 0.23, 0.26, 0.29, 0.32, 0.32, 0.32, 0.32], 4);
        // A single reading that jumps counts from the next one on: it grew evenly from the fifth to the eighth.
        let middle = rise.risen_at.millis() as f64 / 900_000.0;
        assert!((middle - 5.5).abs() < 0.5 && rise.heard_at() == EventTime::from_secs(900 * 9), "{rise:?}");
    }
}
