//! Learns how often a sensor reports, to tell when it has fallen silent.

use serde::{Deserialize, Serialize};

use crate::model::{EventTime, Span};

/// Silence is never called sooner than this.
pub(crate) const SHORTEST_PATIENCE: Span = Span::HOUR;
/// Silence before the habit is learnt: a sensor that reports once a day is not silent.
const UNLEARNT_PATIENCE: Span = Span::from_hours(26);
/// Gaps to see before the learnt habit counts.
const GAPS_TO_LEARN: u32 = 8;
/// The learnt gap is this quantile of all gaps, so that a few missed messages do not stretch it.
const QUANTILE: f32 = 0.95;
/// Step of the quantile estimate, in units of the logarithm of the gap.
const STEP: f32 = 0.15;
/// What comes a little late was on its way.
const SHORTEST_HELD_BACK: Span = Span::from_mins(10);
/// What comes later than this was stored by a gateway that was cut off.
const LONGEST_HELD_BACK: Span = Span::from_hours(6);
/// Share of its value that the remembered longest gap loses with each further gap.
const FORGET: f64 = 0.01;

/// The reporting habit of one sensor.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Cadence {
    last: Option<EventTime>,
    gaps: u32,
    /// ln of the [`QUANTILE`] of gaps in milliseconds.
    log_usual: f32,
    /// Longest gap of late that was not itself a silence, in milliseconds.
    longest: f64,
    /// Longest time of late from a report's reading to when it was heard, in milliseconds: sensors that save readings up
    /// are heard less often than they read.
    held_back: f64,
    /// Reports that repeated the value before them.
    repeats: u32,
}

impl Cadence {
    /// Learns from a report at `at` that was heard at `now`; `repeated` if it said the same as the one before, `silent`
    /// if the gap before it was called a silence.
    pub(crate) fn note(&mut self, at: EventTime, now: EventTime, repeated: bool, silent: bool) {
        if !silent {
            let saved_up = |late: &Span| (SHORTEST_HELD_BACK..=LONGEST_HELD_BACK).contains(late);
            let late = Some(now - at).filter(saved_up).unwrap_or_default();
            self.held_back = (late.millis() as f64).max(self.held_back * (1.0 - FORGET));
        }
        if let Some(last) = self.last.filter(|&last| at > last) {
            self.learn((at - last).millis() as f64, silent);
        }
        self.repeats += u32::from(repeated);
        self.last = Some(self.last.map_or(at, |last| last.max(at)));
    }

    fn learn(&mut self, gap: f64, silent: bool) {
        let log_gap = gap.max(1.0).ln() as f32;
        self.gaps += 1;
        if self.gaps == 1 {
            self.log_usual = log_gap;
        } else {
            // Stochastic approximation of a quantile (Robbins and Monro 1951), faster while young.
            let step = STEP.max(2.0 / self.gaps as f32);
            self.log_usual += step * if log_gap > self.log_usual { QUANTILE } else { QUANTILE - 1.0 };
        }
        if !silent {
            self.longest = gap.max(self.longest * (1.0 - FORGET));
        }
    }

    /// Nobody listened until `at`, or it is the time of the first report since: silence is waited for from then on, and the
    /// gap before is no habit.
    pub(crate) fn unheard_until(&mut self, at: EventTime) {
        self.last = self.last.map(|last| last.max(at));
    }

    /// Time of the last report, or since when it is waited for.
    pub(crate) fn last(&self) -> Option<EventTime> {
        self.last
    }

    /// The usual gap between reports.
    pub(crate) fn usual_gap(&self) -> Span {
        Span::from_millis(self.log_usual.exp() as i64)
    }

    /// How long to wait after a report before calling silence.
    pub(crate) fn patience(&self) -> Span {
        if self.gaps < GAPS_TO_LEARN {
            return UNLEARNT_PATIENCE;
        }
        let usual = f64::from(self.log_usual.exp());
        let millis = (6.0 * usual).max(2.5 * self.longest + 3.5 * self.held_back);
        Span::from_millis(millis as i64).max(SHORTEST_PATIENCE)
    }

    /// Whether it reports now and then that nothing has changed.
    pub(crate) fn repeats_itself(&self) -> bool {
        f64::from(self.repeats) >= 0.1 * f64::from(self.gaps.max(10))
    }

    /// When silence begins if nothing more is heard. `on_change` sensors that never repeat
    /// themselves report only changes: their silence tells nothing.
    pub(crate) fn silent_from(&self, on_change: bool) -> Option<EventTime> {
        if on_change && !self.repeats_itself() {
            return None;
        }
        self.last.map(|last| last + self.patience())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn habit(gaps_min: &[i64]) -> Cadence {
        let mut cadence = Cadence::default();
        let mut at = EventTime::from_secs(0);
        cadence.note(at, at, false, false);
        for gap in gaps_min {
            at = at + Span::from_mins(*gap);
            cadence.note(at, at, true, false);
        }
        cadence
    }

    #[test]
    fn an_unknown_habit_gets_more_than_a_day() {
        assert_eq!(habit(&[5; 3]).patience(), UNLEARNT_PATIENCE);
    }

    #[test]
    fn patience_follows_the_interval() {
        assert_eq!(habit(&[5; 50]).patience(), Span::HOUR);
        let hourly = habit(&[60; 50]).patience();
        assert!(hourly >= Span::from_hours(5) && hourly <= Span::from_hours(8), "{hourly}");
    }

    #[test]
    fn a_few_missed_messages_stretch_it_little() {
        let mut gaps = vec![15; 100];
        gaps[40] = 60;
        gaps[80] = 45;
        let patience = habit(&gaps).patience();
        assert!(patience <= Span::from_hours(3), "{patience}");
    }

    #[test]
    fn readings_that_are_saved_up_are_waited_for_as_long_as_they_are_sent() {
        let mut cadence = Cadence::default();
        for hour in 0..200 {
            let sent = (hour / 4 + 1) * 4;
            cadence.note(EventTime::from_secs(hour * 3600), EventTime::from_secs(sent * 3600), true, false);
        }
        // One message of four readings is lost, then another; the third is missed.
        let patience = cadence.patience();
        assert!(patience >= Span::from_hours(12) && patience <= Span::from_hours(18), "{patience}");
    }

    #[test]
    fn a_sensor_that_reports_only_changes_is_never_silent() {
        let mut cadence = Cadence::default();
        for hour in 0..40 {
            let at = EventTime::from_secs(hour * 3600);
            cadence.note(at, at, false, false);
        }
        assert_eq!(cadence.silent_from(true), None);
        assert!(cadence.silent_from(false).is_some());
    }
}
