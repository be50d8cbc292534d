//! The soak time that one basin is used to.

use serde::{Deserialize, Serialize};

use crate::model::Span;

/// Stays to see before the learnt soak time counts.
const LEARN: u32 = 6;
/// Stays after which the habit is settled: later change is a finding, not a new habit.
const SETTLED: u32 = 40;

/// Running median of the logarithm of soak times, settled after the first [`SETTLED`] stays.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct SoakHabit {
    stays: u32,
    log_median: f64,
    /// Mean absolute step between stay and median, in logarithms.
    log_spread: f64,
}

impl SoakHabit {
    /// Learns from water that stood for `lasted`, unless the habit is settled.
    pub(crate) fn note(&mut self, lasted: Span) {
        if self.stays >= SETTLED {
            return;
        }
        let log = lasted.mins_f64().max(0.5).ln();
        self.stays += 1;
        if self.stays == 1 {
            self.log_median = log;
            self.log_spread = 0.5;
            return;
        }
        let n = f64::from(self.stays);
        let away = log - self.log_median;
        self.log_spread += (away.abs() - self.log_spread) / n;
        // Stochastic approximation of the median (Robbins and Monro 1951).
        self.log_median += away.clamp(-1.0, 1.0) * (2.0 * self.log_spread).min(1.0) / n.sqrt();
    }

    /// The learnt soak time, once known.
    pub(crate) fn learnt(&self) -> Option<Span> {
        (self.stays >= LEARN).then(|| Span::from_hours_f64(self.log_median.exp() / 60.0))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_habit_is_near_the_median_and_settles() {
        let mut habit = SoakHabit::default();
        for i in 0..5 {
            habit.note(Span::from_mins(30 + i));
        }
        assert_eq!(habit.learnt(), None);
        for i in 0..60 {
            habit.note(Span::from_mins(if i % 9 == 0 { 200 } else { 28 + i % 5 }));
        }
        let learnt = habit.learnt().unwrap().mins_f64();
        assert!((24.0..45.0).contains(&learnt), "{learnt}");
        let settled = habit.clone();
        (0..20).for_each(|_| habit.note(Span::from_hours(9)));
        assert_eq!(habit, settled);
    }
}
