//! How often a sensor speaks, from the times of its readings.

use crate::model::{EventTime, Span};
use crate::stats::robust;

/// Gaps that a rhythm needs at the least.
const ENOUGH: usize = 8;
/// A gap fits a rhythm if it is a whole number of intervals, give or take this part of one.
const SLACK: f64 = 0.2;
/// Part of all gaps that fit where there is a rhythm, and part of them that are one interval long.
const FITTING: f64 = 0.8;
const SINGLE: f64 = 0.5;

/// A sensor that speaks at even intervals.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Rhythm {
    /// From one reading to the next.
    pub(super) interval: Span,
    /// Readings that should have come between those that did, and since the last one.
    pub(super) missed: u64,
    /// Readings that should have come in all.
    pub(super) expected: u64,
}

/// The rhythm of readings at `times`, in order, seen from `now`; none for a sensor that speaks when something changes.
pub(super) fn rhythm(times: &[EventTime], now: EventTime) -> Option<Rhythm> {
    let gaps: Vec<f64> = times.windows(2).map(|pair| (pair[1] - pair[0]).secs_f64()).collect();
    if gaps.len() < ENOUGH {
        return None;
    }
    let interval = robust::median(&mut gaps.clone());
    if interval <= 0.0 {
        return None;
    }
    let steps = |gap: f64| (gap / interval).round();
    let fits = |gap: &&f64| (*gap / interval - steps(**gap)).abs() <= SLACK && steps(**gap) >= 1.0;
    let part = |count: usize| count as f64 / gaps.len() as f64;
    let single = gaps.iter().filter(fits).filter(|gap| steps(**gap) <= 1.0).count();
    if part(gaps.iter().filter(fits).count()) < FITTING || part(single) < SINGLE {
        return None;
    }
    let since_last = (now - *times.last()?).secs_f64() / interval;
    let between: f64 = gaps.iter().map(|gap| (steps(*gap) - 1.0).max(0.0)).sum();
    // The next one may be a little late without being missed.
    let missed = (between + (since_last - 0.5).floor().max(0.0)) as u64;
    let interval = Span::from_hours_f64(interval / 3600.0);
    Some(Rhythm { interval, missed, expected: times.len() as u64 + missed })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn every_five_minutes(but: impl Fn(i64) -> bool) -> Vec<EventTime> {
        // A second or two early or late, as radios are.
        (0..60).filter(|i| !but(*i)).map(|i| EventTime::from_secs(i * 300 + i % 3)).collect()
    }

    #[test]
    fn readings_that_did_not_come_are_counted_between_and_since() {
        let now = EventTime::from_secs(60 * 300);
        let all = rhythm(&every_five_minutes(|_| false), now).unwrap();
        assert_eq!((all.missed, all.expected), (0, 60));
        assert!((all.interval.mins_f64() - 5.0).abs() < 0.05);
        let some = rhythm(&every_five_minutes(|i| i == 7 || (20..23).contains(&i) || i > 55), now).unwrap();
        assert_eq!((some.missed, some.expected), (8, 60));
    }

    #[test]
    fn a_sensor_that_speaks_when_something_changes_has_no_rhythm() {
        let at = [0, 40, 2900, 3000, 9100, 9160, 17000, 17050, 26000, 41000, 41020];
        assert_eq!(rhythm(&at.map(EventTime::from_secs), EventTime::from_secs(50_000)), None);
        assert_eq!(rhythm(&every_five_minutes(|i| i > 5), EventTime::from_secs(1800)), None, "too few");
    }
}
