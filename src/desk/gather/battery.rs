//! When a battery will be low, at the rate at which it falls.

use crate::ledger::Bin;
use crate::model::{EventTime, Span};
use crate::stats::trend::{Observation, theil_sen};

/// Charge at which a new battery is asked for, percent: as the finding has it.
const LOW: f64 = 20.0;
/// A rise by so much from one day to the next is another battery, percent.
const CHANGED: f64 = 10.0;
/// Days that a rate needs at the least, and that it rests on at most.
const ENOUGH: usize = 7;
const AT_MOST: usize = 60;
/// Certainty that it falls at all.
const SURE: f64 = 0.9;
/// What lies further ahead is not told: a battery falls unevenly.
const AHEAD: Span = Span::from_days(365);

/// When the battery whose charge was that of `days` will be low; none where it does not surely fall, or not within a
/// year, or is low already.
pub(super) fn low_at(days: &[Bin], now: EventTime) -> Option<EventTime> {
    let changed = days.windows(2).rposition(|pair| pair[1].mean > pair[0].mean + CHANGED);
    let since = &days[changed.map_or(0, |before| before + 1)..];
    let lately = &since[since.len().saturating_sub(AT_MOST)..];
    // One that is low already is a finding's matter, however the line through its days lies.
    if lately.len() < ENOUGH || lately.last().is_some_and(|day| day.mean <= LOW) {
        return None;
    }
    let ago = |at: EventTime| (at - now).days_f64();
    let observed: Vec<Observation> =
        lately.iter().map(|day| Observation::exact(ago(day.at), day.mean)).collect();
    let fall = theil_sen(&observed, SURE)?;
    // At time 0, which is now.
    let (charge, rate) = (fall.intercept, fall.slope);
    if fall.interval.high >= 0.0 || charge <= LOW {
        return None;
    }
    let left = Span::from_hours_f64((charge - LOW) / -rate * 24.0);
    (left <= AHEAD).then(|| now + left)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(n: i64, mean: f64) -> Bin {
        let at = EventTime::from_secs(n * 86_400);
        Bin { at, min: mean, mean, max: mean, count: 24 }
    }

    fn low_in(days: &[Bin]) -> Option<f64> {
        let now = days.last().unwrap().at;
        low_at(days, now).map(|at| (at - now).days_f64())
    }

    #[test]
    fn a_battery_that_falls_evenly_is_low_when_the_line_says() {
        let days: Vec<Bin> = (0..20).map(|n| day(n, 90.0 - 2.0 * n as f64)).collect();
        // 52 % are left, and 2 % go a day.
        assert!((low_in(&days).unwrap() - 16.0).abs() < 0.01, "{:?}", low_in(&days));
        let mut changed: Vec<Bin> = (0..20).map(|n| day(n, 40.0 - n as f64)).collect();
        changed.extend((20..30).map(|n| day(n, 100.0 - 4.0 * (n - 20) as f64)));
        assert!((low_in(&changed).unwrap() - 11.0).abs() < 0.01, "{:?}", low_in(&changed));
    }

    #[test]
    fn nothing_is_told_of_a_battery_that_keeps_its_charge_or_is_hardly_known() {
        let steady: Vec<Bin> = (0..30).map(|n| day(n, 80.0 + f64::from(n as i32 % 3))).collect();
        assert_eq!(low_in(&steady), None);
        let few: Vec<Bin> = (0..5).map(|n| day(n, 90.0 - 5.0 * n as f64)).collect();
        assert_eq!(low_in(&few), None);
        let slow: Vec<Bin> = (0..30).map(|n| day(n, 99.0 - 0.05 * n as f64)).collect();
        assert_eq!(low_in(&slow), None, "years ahead");
        let low: Vec<Bin> = (0..30).map(|n| day(n, 45.0 - n as f64)).collect();
        assert_eq!(low_in(&low), None, "it is low already, and a finding says so");
        let mut fell: Vec<Bin> = (0..30).map(|n| day(n, 60.0 - 0.2 * n as f64)).collect();
        fell.extend((30..33).map(|n| day(n, 6.0)));
        assert_eq!(low_in(&fell), None, "it fell at once, which the line does not follow");
    }
}
