//! The soak time that one basin is used to: after it, nine times in ten, what stood is gone.
//!
//! Doses differ widely, and so does how long their water stands. What is usual for a basin is therefore not the middle of
//! its stays, which every large load of laundry exceeds several times over, but what all but its longest keep within.

use serde::{Deserialize, Serialize};

use crate::model::Span;

/// Stays to see before the learnt soak time counts.
const LEARN: u16 = 10;
/// Stays after which the habit is settled: later change is a finding, not a new habit.
const SETTLED: u16 = 120;
/// Stays shorter than this are waves at the float.
const STAY_AT_LEAST: Span = Span::from_mins(5);
/// The part of the stays that are over within the soak time.
const NEARLY_ALL: f64 = 0.9;
/// Classes of stays, from [`STAY_AT_LEAST`] to a day; each reaches this many times as far as the one before.
const CLASSES: usize = 26;
const STEP: f64 = 1.25;

/// Counts of stays by how long they were, settled after the first [`SETTLED`].
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct SoakHabit {
    stays: u16,
    counts: [u8; CLASSES],
}

impl SoakHabit {
    /// Learns from water that stood for `lasted`, unless the habit is settled.
    pub(crate) fn note(&mut self, lasted: Span) {
        if self.stays >= SETTLED || lasted < STAY_AT_LEAST {
            return;
        }
        let class = ((lasted.mins_f64() / STAY_AT_LEAST.mins_f64()).ln() / STEP.ln()) as usize;
        self.counts[class.min(CLASSES - 1)] += 1;
        self.stays += 1;
    }

    /// The learnt soak time, once known.
    pub(crate) fn learnt(&self) -> Option<Span> {
        if self.stays < LEARN {
            return None;
        }
        let wanted = NEARLY_ALL * f64::from(self.stays);
        let mut below = 0.0;
        for (class, count) in (0..).zip(self.counts) {
            let count = f64::from(count);
            if below + count >= wanted {
                let part = (wanted - below) / count;
                return Some(STAY_AT_LEAST.scaled(STEP.powf(f64::from(class) + part)));
            }
            below += count;
        }
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::normal;

    #[test]
    fn the_soak_time_is_what_nine_stays_of_ten_keep_within_and_it_settles() {
        let mut habit = SoakHabit::default();
        (0..9).for_each(|_| habit.note(Span::from_mins(30)));
        (0..90).for_each(|_| habit.note(Span::from_mins(2)));
        assert_eq!(habit.learnt(), None, "waves are no stays");
        // Stays whose logarithms follow a normal law: nine tenths of it lie below 1.2816 deviations.
        let mut habit = SoakHabit::default();
        for i in 0..SETTLED {
            let z = normal::quantile((f64::from(i * 7 % SETTLED) + 0.5) / f64::from(SETTLED));
            habit.note(Span::from_hours_f64(0.75 * (0.6 * z).exp()));
        }
        let (learnt, law) = (habit.learnt().unwrap().hours_f64(), 0.75 * (0.6_f64 * 1.2816).exp());
        assert!((learnt / law).ln().abs() < 0.08, "{learnt} {law}");
        let settled = habit.clone();
        (0..20).for_each(|_| habit.note(Span::from_hours(90)));
        assert_eq!(habit, settled);
    }

    #[test]
    fn stays_beyond_all_classes_count_as_the_longest() {
        let mut habit = SoakHabit::default();
        (0..LEARN).for_each(|_| habit.note(Span::from_days(9)));
        assert!(habit.learnt().unwrap() > Span::from_hours(20));
    }
}
