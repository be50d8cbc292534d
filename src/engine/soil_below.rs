//! What the soil under a float says of the water that should stand on it.
//!
//! Soil dries only when no more water comes from above. So a float that says *up* while the soil below it dries was
//! lost a message of, and one that goes on saying so through several whole doses is stuck. Water that stands on a
//! silted floor lets the soil below drain a little as well: dried soil alone is a reason to count anew from the float's
//! next report, once in a stay, and nothing here ever takes a flood back.

use serde::{Deserialize, Serialize};

use super::signal::Wetting;
use crate::model::{EventTime, Span};
use crate::stats::robust::LocationScale;

/// Soil has dried when it lies this far below its wettest, m³/m³, and this many deviations of its probe.
const DRIED: f64 = 0.012;
const DRIED_DEVIATIONS: f64 = 5.0;
/// Wettings by which the usual one is known, and how many are remembered.
const KNOWN: u32 = 10;
const MEMORY: f64 = 60.0;
/// A wetting of this part of the usual one comes through no pond: water that stands hardly changes what passes the floor.
const WHOLE: f64 = 0.5;
/// So many of them, and so long up, are a float that is stuck, where water has never stood for nearly as long: a floor
/// that silts up lets it stand a little longer each week.
const STUCK_AFTER: u8 = 4;
const STUCK_FOR: Span = Span::from_hours(36);
const STUCK_LONGER: f64 = 8.0;
/// What each stay takes off the longest that is remembered.
const FADES: f64 = 0.02;

/// What a probe has shown since the float above it rose.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) struct SoilBelow {
    /// Wettest since the float last said that water stands, m³/m³.
    wettest: f32,
    /// When the soil had dried since then.
    dried_at: Option<EventTime>,
    /// The stay has been counted anew once: a flood must not be put off for ever.
    doubted: bool,
    /// When the float rose: since then it was never heard to fall.
    up_since: Option<EventTime>,
    /// Whole wettings since the float rose.
    wettings: u8,
    /// Longest stay of late.
    longest: Span,
    /// Logarithm of the usual amplitude of a wetting, m³/m³.
    amplitudes: LocationScale,
}

impl Default for SoilBelow {
    fn default() -> Self {
        let amplitudes = LocationScale::new(MEMORY, 0.05);
        Self {
            wettest: 0.0,
            dried_at: None,
            doubted: false,
            up_since: None,
            wettings: 0,
            longest: Span::ZERO,
            amplitudes,
        }
    }
}

impl SoilBelow {
    /// The float said that water stands. Says, once in a stay, whether it seems to have fallen in between: the soil had
    /// dried.
    pub(crate) fn float_is_up(&mut self, at: EventTime) -> bool {
        self.up_since.get_or_insert(at);
        self.wettest = 0.0;
        let fell = self.dried_at.take().is_some() && !self.doubted;
        self.doubted |= fell;
        fell
    }

    /// The float fell: what stood for so long is gone.
    pub(crate) fn float_fell(&mut self, stood: Span) {
        self.longest = stood.max(self.longest.scaled(1.0 - FADES));
        self.freed();
    }

    /// A float that was stuck fell.
    pub(crate) fn freed(&mut self) {
        (self.wettest, self.dried_at, self.doubted) = (0.0, None, false);
        (self.up_since, self.wettings) = (None, 0);
    }

    /// The probe shows `content`, m³/m³, known to `deviation`.
    pub(crate) fn shows(&mut self, at: EventTime, content: f64, deviation: f64) {
        self.wettest = self.wettest.max(content as f32);
        if f64::from(self.wettest) - content >= DRIED.max(DRIED_DEVIATIONS * deviation) {
            self.dried_at.get_or_insert(at);
        }
    }

    /// A wetting is over.
    pub(crate) fn wetted(&mut self, wetting: &Wetting) {
        let log_amplitude = wetting.amplitude.ln();
        if self.up_since.is_none_or(|since| wetting.began < since) {
            self.amplitudes.observe(log_amplitude);
        } else if self.usual().is_some_and(|usual| log_amplitude >= usual + WHOLE.ln()) && !wetting.censored {
            self.wettings = self.wettings.saturating_add(1);
        }
    }

    fn usual(&self) -> Option<f64> {
        self.amplitudes.location().filter(|_| self.amplitudes.count() >= KNOWN)
    }

    /// When the soil had dried since the float last said that water stands.
    pub(crate) fn dried_at(&self) -> Option<EventTime> {
        self.dried_at
    }

    /// Since when a float has claimed that water stands, and how many doses wetted the soil as usual through it, if so
    /// many by `now` that the float must be stuck.
    pub(crate) fn belies(&self, now: EventTime) -> Option<(EventTime, u8)> {
        let since = self.up_since?;
        let long = STUCK_FOR.max(self.longest.scaled(STUCK_LONGER));
        (self.wettings >= STUCK_AFTER && now - since >= long).then_some((since, self.wettings))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::interval::Estimate;

    fn at(hours: i64) -> EventTime {
        EventTime::from_secs(hours * 3600)
    }

    fn wetting(amplitude: f64) -> Wetting {
        Wetting {
            began: at(0),
            peaked: at(1),
            delay: Span::HOUR,
            slowness: None,
            ended: at(3),
            before: 0.25,
            peak: 0.25 + amplitude,
            amplitude,
            gained: Estimate { value: amplitude, variance: 1e-6 },
            censored: false,
        }
    }

    #[test]
    fn soil_that_dries_speaks_against_the_float_until_it_reports_again() {
        let mut soil = SoilBelow::default();
        soil.float_is_up(at(0));
        for (hour, content) in [(1, 0.30), (2, 0.36), (3, 0.355), (4, 0.35)] {
            soil.shows(at(hour), content, 0.002);
            assert_eq!(soil.dried_at(), None);
        }
        soil.shows(at(5), 0.335, 0.002);
        soil.shows(at(6), 0.36, 0.002);
        assert_eq!(soil.dried_at(), Some(at(5)));
        assert!(soil.float_is_up(at(6)) && !soil.float_is_up(at(7)));
        assert_eq!(soil.dried_at(), None);
        soil.shows(at(8), 0.36, 0.002);
        soil.shows(at(9), 0.34, 0.002);
        assert!(!soil.float_is_up(at(10)), "a stay is counted anew once only");
    }

    #[test]
    fn a_noisy_probe_must_fall_further() {
        let mut soil = SoilBelow::default();
        for (hour, content) in [(1, 0.36), (2, 0.33), (3, 0.32)] {
            soil.shows(at(hour), content, 0.01);
        }
        assert_eq!(soil.dried_at(), None);
    }

    #[test]
    fn whole_doses_through_a_pond_belie_the_float_and_weak_ones_do_not() {
        let mut soil = SoilBelow::default();
        (0..20).for_each(|_| soil.wetted(&wetting(0.08)));
        soil.float_is_up(at(0));
        (0..9).for_each(|_| soil.wetted(&wetting(0.02)));
        assert_eq!(soil.belies(at(100)), None);
        (0..4).for_each(|_| soil.wetted(&wetting(0.07)));
        assert_eq!(soil.belies(at(30)), None);
        assert_eq!(soil.belies(at(36)), Some((at(0), 4)));
        soil.float_fell(Span::from_hours(9));
        assert_eq!(soil.belies(at(100)), None);
        soil.float_is_up(at(0));
        (0..4).for_each(|_| soil.wetted(&wetting(0.07)));
        assert_eq!(soil.belies(at(60)), None, "water has stood for nine hours before");
    }
}
