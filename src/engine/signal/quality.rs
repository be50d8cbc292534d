//! Whether a moisture probe can be believed: frozen, spiking or out of the range of soils.

use serde::{Deserialize, Serialize};

use crate::model::{EventTime, Span};

/// Soil never holds more water than this, m³/m³ (flag C02 of Dorigo et al. 2013, Vadose Zone J. 12(3)).
const WETTEST: f64 = 0.60;
/// A probe in soil that is as wet as can be may say this much more, m³/m³: twice what good probes are sold to know, for
/// cheap ones in soil that they were not calibrated for. Their changes still tell (common practice, no published source).
const ACCURACY: f64 = 0.06;
/// Soil that receives water is never drier than this, m³/m³ (driest wilting point of the USDA
/// classes is 0.024; common practice, no published source for the margin).
const DRIEST: f64 = 0.01;
/// Readings in a row out of range before the probe is doubted, and how long it must stay in range before it is not any
/// more: a probe that shows too much does so with every large dose.
const OUT_OF_RANGE: u8 = 4;
const BACK_IN_RANGE: Span = Span::from_days(14);
/// A spike leaves and returns by at least this much, m³/m³ (common practice, no published source).
const SPIKE: f64 = 0.10;
/// The readings around a spike agree this well, m³/m³.
const SPIKE_RETURN: f64 = 0.03;
/// Spikes of late, each decaying over a day, at which the probe is doubted.
const SPIKES: f32 = 2.5;
/// Readings further apart than this cannot show a spike: soil can rise and drain between them.
const SPIKE_SPACING: Span = Span::from_mins(35);
/// A value repeated for less than this is never frozen.
const FROZEN_AT_LEAST: Span = Span::from_hours(30);
/// A shorter run without change is nothing new.
const UNMOVED_AT_LEAST: Span = Span::from_hours(8);
/// Readings that a frozen run must span.
const FROZEN_READINGS: u32 = 12;
/// A frozen run is this many times the longest honest run seen.
const FROZEN_FACTOR: f64 = 3.0;
/// How long a probe must have been known before its own habit counts.
const KNOWN: Span = Span::from_days(3);

/// Signs of a failing moisture probe. Constant size.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct ProbeQuality {
    first: Option<EventTime>,
    /// The two readings before the next.
    last: [Option<(EventTime, f64)>; 2],
    run_began: Option<EventTime>,
    run_length: u32,
    longest_run: Span,
    spikes: f32,
    /// Readings in a row out of range, and since there were enough to doubt it, the last.
    out_of_range: u8,
    last_out: Option<EventTime>,
}

/// Why a probe is doubted.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Doubt {
    /// The same value since then.
    Frozen { since: EventTime, value: f64 },
    /// Leaps and returns that soil cannot do.
    Spiking,
    /// No soil is that wet or dry.
    OutOfRange { value: f64 },
}

impl ProbeQuality {
    /// Takes a reading in event order.
    pub(crate) fn note(&mut self, at: EventTime, value: f64) {
        self.first.get_or_insert(at);
        self.count_spike(at, value);
        self.extend_run(at, value);
        self.count_out_of_range(at, value);
        self.last = [self.last[1], Some((at, value))];
    }

    /// Nobody listened for a while: what it says next is not held against what it said before, unless that was frozen.
    pub(crate) fn unheard(&mut self) {
        if !matches!(self.doubt(), Some(Doubt::Frozen { .. })) {
            self.last = [None; 2];
        }
    }

    fn count_spike(&mut self, at: EventTime, value: f64) {
        let [Some((first_at, first)), Some((peak_at, peak))] = self.last else { return };
        self.spikes *= (-(at - peak_at).days_f64().max(0.0)).exp() as f32;
        let close = at - first_at <= SPIKE_SPACING + SPIKE_SPACING;
        let leaps = (peak - first).abs() >= SPIKE && (peak - value).abs() >= SPIKE;
        if close && leaps && (first - value).abs() <= SPIKE_RETURN {
            self.spikes += 1.0;
        }
    }

    fn count_out_of_range(&mut self, at: EventTime, value: f64) {
        if (DRIEST..=WETTEST + ACCURACY).contains(&value) {
            self.out_of_range = 0;
            self.last_out = self.last_out.filter(|&last| at - last < BACK_IN_RANGE);
            return;
        }
        self.out_of_range = self.out_of_range.saturating_add(1);
        if self.last_out.is_some() || self.out_of_range >= OUT_OF_RANGE {
            self.last_out = Some(at);
        }
    }

    fn extend_run(&mut self, at: EventTime, value: f64) {
        let same = self.last[1].is_some_and(|(_, last)| last.to_bits() == value.to_bits());
        if same {
            self.run_length += 1;
            return;
        }
        if let (Some(began), Some((ended, _))) = (self.run_began, self.last[1]) {
            // A run that was called frozen is no honest habit.
            if ended - began < self.frozen_after() {
                self.longest_run = self.longest_run.max(ended - began);
            }
        }
        self.run_began = Some(at);
        self.run_length = 1;
    }

    fn frozen_after(&self) -> Span {
        FROZEN_AT_LEAST.max(self.longest_run.scaled(FROZEN_FACTOR))
    }

    /// Since when the probe has said the same for longer than it ever did before, which may mean that it is frozen.
    pub(crate) fn unmoved_since(&self) -> Option<EventTime> {
        let ((at, _), since) = (self.last[1]?, self.run_began?);
        let long = at - since > UNMOVED_AT_LEAST.max(self.longest_run) && self.run_length >= FROZEN_READINGS;
        (long && at - self.first? >= KNOWN).then_some(since)
    }

    /// What is wrong with the probe, if anything.
    pub(crate) fn doubt(&self) -> Option<Doubt> {
        let (at, value) = self.last[1]?;
        if self.last_out.is_some() {
            return Some(Doubt::OutOfRange { value });
        }
        if self.spikes >= SPIKES {
            return Some(Doubt::Spiking);
        }
        let since = self.run_began?;
        let known = at - self.first? >= KNOWN;
        let frozen = at - since >= self.frozen_after() && self.run_length >= FROZEN_READINGS;
        (known && frozen).then_some(Doubt::Frozen { since, value })
    }

    /// Whether spikes have become rare enough to trust the probe again.
    pub(crate) fn is_steady(&self) -> bool {
        self.spikes < SPIKES / 4.0 && self.last_out.is_none()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn feed(quality: &mut ProbeQuality, from_min: i64, values: impl IntoIterator<Item = f64>) -> i64 {
        let mut min = from_min;
        for value in values {
            quality.note(EventTime::from_secs(min * 60), value);
            min += 15;
        }
        min
    }

    /// A wetting every day and a slow fall, in steps of 0.001.
    fn honest(days: usize) -> impl Iterator<Item = f64> {
        (0..days * 96).map(|i| ((0.30 - 0.0004 * (i % 96) as f64) * 1000.0).round() / 1000.0)
    }

    #[test]
    fn an_honest_probe_is_believed() {
        let mut quality = ProbeQuality::default();
        feed(&mut quality, 0, honest(20));
        assert_eq!(quality.doubt(), None);
    }

    #[test]
    fn a_value_that_stays_longer_than_ever_may_be_frozen_long_before_it_is_called_so() {
        let mut quality = ProbeQuality::default();
        let live = (0..4 * 96).map(|i| 0.2 + f64::from(i / 10 % 7) * 0.002);
        let end = feed(&mut quality, 0, live);
        assert_eq!(quality.unmoved_since(), None);
        feed(&mut quality, end, std::iter::repeat_n(0.3, 40));
        assert_eq!(quality.unmoved_since(), Some(EventTime::from_secs(end * 60)));
        assert_eq!(quality.doubt(), None);
    }

    #[test]
    fn a_value_that_stays_for_days_is_frozen() {
        let mut quality = ProbeQuality::default();
        let min = feed(&mut quality, 0, honest(5));
        feed(&mut quality, min, [0.25; 150]);
        assert!(
            matches!(quality.doubt(), Some(Doubt::Frozen { value, .. }) if value.to_bits() == 0.25_f64.to_bits())
        );
    }

    #[test]
    fn the_same_value_after_a_gap_is_not_frozen_unless_it_was_before() {
        let mut quality = ProbeQuality::default();
        let min = feed(&mut quality, 0, honest(5));
        let min = feed(&mut quality, min, [0.25; 20]);
        quality.unheard();
        let later = feed(&mut quality, min + 40 * 1440, [0.25; 20]);
        assert_eq!((quality.doubt(), quality.unmoved_since()), (None, None));
        feed(&mut quality, later, [0.25; 110]);
        assert!(
            matches!(quality.doubt(), Some(Doubt::Frozen { since, .. }) if since > EventTime::from_secs(min * 60))
        );
        quality.unheard();
        feed(&mut quality, later + 40 * 1440, [0.25]);
        assert!(matches!(quality.doubt(), Some(Doubt::Frozen { .. })));
    }

    #[test]
    fn leaps_that_return_are_spikes_and_wettings_are_not() {
        let mut quality = ProbeQuality::default();
        let min = feed(&mut quality, 0, honest(3));
        let min = feed(&mut quality, min, [0.28, 0.05, 0.28, 0.45, 0.28, 0.28, 0.02, 0.28]);
        assert_eq!(quality.doubt(), Some(Doubt::Spiking));
        feed(&mut quality, min, honest(3));
        assert!(quality.is_steady());
    }

    #[test]
    fn no_soil_is_that_wet() {
        let mut quality = ProbeQuality::default();
        let min = feed(&mut quality, 0, [0.7; 4]);
        assert_eq!(quality.doubt(), Some(Doubt::OutOfRange { value: 0.7 }));
        // Between doses it shows what soil may hold; it is believed again after two weeks without more.
        let min = feed(&mut quality, min, honest(13).chain([0.67]));
        assert!(!quality.is_steady());
        let min = feed(&mut quality, min, honest(13));
        assert!(!quality.is_steady());
        feed(&mut quality, min, honest(1));
        assert!(quality.is_steady() && quality.doubt().is_none());
    }
}
