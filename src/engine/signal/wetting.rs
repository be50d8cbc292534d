//! One probe's response to water: how far it rose over the recession that would have gone on, and how much
//! water came.

use serde::{Deserialize, Serialize};

use super::drying::Drying;
use crate::model::{EventTime, Span};
use crate::stats::interval::Estimate;

/// A wetting is over at the latest this long after its peak: its water has spread beyond the probe.
const LONGEST: Span = Span::from_hours(8);
/// A wetting is over when less than this part of it came within the last hour.
const STILL_COMING: f64 = 0.05;

/// One probe's response to a dose or to rain.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Wetting {
    /// First reading that shows it.
    pub(crate) began: EventTime,
    /// When the probe was wettest.
    pub(crate) peaked: EventTime,
    /// Mean delay of the water after the first reading that shows it: short for a dose, long for rain.
    pub(crate) delay: Span,
    /// Logarithm of that delay over the usual one of this probe, once that is known.
    pub(crate) slowness: Option<f64>,
    /// When the account was closed.
    pub(crate) ended: EventTime,
    /// Water content before, m³/m³.
    pub(crate) before: f64,
    /// Water content at the peak, m³/m³.
    pub(crate) peak: f64,
    /// Peak over the recession that would have gone on, m³/m³.
    pub(crate) amplitude: f64,
    /// Water that came: storage gained plus what drained meanwhile, m³/m³ of the soil that the probe senses.
    /// The peak alone understates a big dose, since water drains past the probe while more arrives.
    pub(crate) gained: Estimate,
    /// The probe was at its ceiling: the gain is a lower bound.
    pub(crate) censored: bool,
}

/// A wetting that is not over.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) struct Account {
    began: EventTime,
    before: f64,
    /// How far the account has come, and the level then.
    now: (EventTime, f64),
    /// Where the recession would be by now.
    base: f64,
    peaked: EventTime,
    peak: f64,
    amplitude: f64,
    /// What drained since.
    drained: f64,
    /// What the daily swing added since.
    swung: f64,
    gained: f64,
    /// Variance of the level before, and of all that drying has been wrong about since.
    variance: f64,
    /// All that came, and its delay after the beginning in hours times its amount.
    came: f64,
    came_delay: f64,
    hour_mark: (EventTime, f64),
}

impl Account {
    /// Opens at the last quiet reading, whose level and variance these are; `began` is the first reading that
    /// shows water.
    pub(crate) fn open(began: EventTime, quiet_at: EventTime, level: f64, variance: f64) -> Self {
        Self {
            began,
            before: level,
            now: (quiet_at, level),
            base: level,
            peaked: began,
            peak: level,
            amplitude: 0.0,
            drained: 0.0,
            swung: 0.0,
            gained: 0.0,
            variance,
            came: 0.0,
            came_delay: 0.0,
            hour_mark: (quiet_at, 0.0),
        }
    }

    /// Goes on to a time and the level then; drying errs by `drift` (variance an hour).
    pub(crate) fn go_on(&mut self, drying: &Drying, to: (EventTime, f64), drift: f64) {
        let from = std::mem::replace(&mut self.now, to);
        let hours = (to.0 - from.0).hours_f64();
        let base = drying.expect(self.base, from.0, to.0);
        self.swung += drying.swing(from.0, to.0);
        self.drained += drying.drained(0.5 * (from.1 + to.1), from.0, to.0);
        self.base = base;
        let gained = to.1 - self.swung - self.before + self.drained;
        let gained_before = std::mem::replace(&mut self.gained, gained);
        let came = (self.gained - gained_before).max(0.0);
        self.came += came;
        self.came_delay += came * (to.0 - self.began).hours_f64();
        self.variance += drift * hours;
        if to.1 > self.peak {
            (self.peaked, self.peak, self.amplitude) = (to.0, to.1, to.1 - base);
        }
    }

    /// Water content at the peak so far.
    pub(crate) fn peak(&self) -> f64 {
        self.peak
    }

    /// Peak over the recession so far.
    pub(crate) fn amplitude(&self) -> f64 {
        self.amplitude
    }

    /// First reading that showed it.
    #[cfg(test)]
    pub(crate) fn began(&self) -> EventTime {
        self.began
    }

    /// When the probe was wettest so far.
    pub(crate) fn peaked(&self) -> EventTime {
        self.peaked
    }

    /// Whether no more water is coming to speak of; looks back an hour at a time.
    pub(crate) fn is_settled(&mut self) -> bool {
        let now = self.now.0;
        if now - self.hour_mark.0 < Span::HOUR {
            return false;
        }
        let coming = self.gained - self.hour_mark.1;
        self.hour_mark = (now, self.gained);
        coming < STILL_COMING * self.gained || now - self.peaked >= LONGEST
    }

    /// Closes where it stands; `level_variance` is the variance of a level.
    pub(crate) fn close(&self, level_variance: f64, censored: bool) -> Wetting {
        Wetting {
            began: self.began,
            peaked: self.peaked,
            delay: Span::from_hours_f64(self.came_delay / self.came.max(f64::MIN_POSITIVE)),
            slowness: None,
            ended: self.now.0,
            before: self.before,
            peak: self.peak,
            amplitude: self.amplitude,
            gained: Estimate { value: self.gained, variance: self.variance + level_variance },
            censored,
        }
    }
}
