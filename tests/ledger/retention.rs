//! Roll-ups against the same numbers worked out directly, and what is deleted when.

use std::collections::BTreeMap;

use basinward::ledger::{
    Batch, Bin, Ledger, Position, Resolution, Retained, RetentionPolicy, SystemNo, View,
};
use basinward::model::{EventTime, Span};
use proptest::prelude::*;
use tempfile::TempDir;

use crate::yard::{PROBE, START, id, minute, system, take};

const FOREVER: RetentionPolicy =
    RetentionPolicy { raw_days: 10_000, hour_days: 10_000, journal_days: 10_000, message_days: 10_000 };

struct Yard {
    folder: TempDir,
    ledger: Ledger,
    east: SystemNo,
}

impl Yard {
    fn new() -> Self {
        let folder = TempDir::new().unwrap();
        let mut ledger = Ledger::open(folder.path()).unwrap();
        let east = ledger.enrol([&system("east", &["quince"])]).unwrap()[0];
        let recovery = ledger.recover().unwrap();
        ledger.replay(&recovery, |_| ()).unwrap();
        Self { folder, ledger, east }
    }

    fn commit(&mut self, readings: &[(EventTime, f64)]) {
        let mut batch = Batch::default();
        for (at, value) in readings {
            take(&mut batch, self.east, PROBE, *at, *value);
        }
        self.ledger.commit(&batch).unwrap();
    }

    /// Retains until there is nothing more to do; returns the sum of what was done.
    fn retain(&mut self, now: EventTime, policy: &RetentionPolicy) -> Retained {
        let mut sum = Retained::default();
        loop {
            let step = self.ledger.retain(now, policy).unwrap();
            sum.rolled_up += step.rolled_up;
            sum.deleted += step.deleted;
            sum.trimmed += step.trimmed;
            sum.forgotten += step.forgotten;
            if !step.more {
                return sum;
            }
        }
    }

    fn bins(&self, resolution: Resolution) -> Vec<Bin> {
        let view = View::open(self.folder.path()).unwrap();
        view.history(&id("east"), "quince/moisture", minute(-1 << 30), minute(1 << 30), resolution).unwrap()
    }
}

/// Bins of `width` worked out from the readings themselves.
fn expected(readings: &[(EventTime, f64)], width: Span) -> Vec<Bin> {
    let mut groups: BTreeMap<i64, Vec<f64>> = BTreeMap::new();
    for (at, value) in readings {
        groups.entry(at.millis().div_euclid(width.millis())).or_default().push(*value);
    }
    let bin = |(no, values): (i64, Vec<f64>)| Bin {
        at: EventTime::from_millis(no * width.millis()),
        min: values.iter().copied().fold(f64::INFINITY, f64::min),
        mean: values.iter().sum::<f64>() / values.len() as f64,
        max: values.iter().copied().fold(f64::NEG_INFINITY, f64::max),
        count: values.len() as u64,
    };
    groups.into_iter().map(bin).collect()
}

fn assert_same(found: &[Bin], expected: &[Bin]) {
    let but_mean = |bins: &[Bin]| bins.iter().map(|bin| Bin { mean: 0.0, ..*bin }).collect::<Vec<_>>();
    assert_eq!(but_mean(found), but_mean(expected));
    for (found, expected) in found.iter().zip(expected) {
        // Sums in another order differ in the last places.
        assert!((found.mean - expected.mean).abs() < 1e-9, "{found:?}, not {expected:?}");
    }
}

/// A reading every 5 minutes.
fn course(days: i64) -> Vec<(EventTime, f64)> {
    (0..days * 288).map(|i| (minute(i * 5), ((i * 37) % 101) as f64 / 100.0)).collect()
}

#[test]
fn history_is_the_same_before_and_after_it_is_rolled_up() {
    let mut yard = Yard::new();
    let readings = course(3);
    yard.commit(&readings);
    let fresh = [Resolution::Hour, Resolution::Day].map(|resolution| yard.bins(resolution));
    assert_same(&fresh[0], &expected(&readings, Span::HOUR));
    assert_same(&fresh[1], &expected(&readings, Span::DAY));
    // Rolled up to the middle of the second day: the rest is worked out on the spot.
    let half = yard.retain(minute(36 * 60), &FOREVER);
    assert_eq!(half.rolled_up, 35 + 1);
    assert_same(&yard.bins(Resolution::Hour), &fresh[0]);
    assert_same(&yard.bins(Resolution::Day), &fresh[1]);
    assert_eq!(yard.retain(minute(73 * 60), &FOREVER).rolled_up, 37 + 2);
    assert_same(&yard.bins(Resolution::Hour), &fresh[0]);
    assert_same(&yard.bins(Resolution::Day), &fresh[1]);
    assert_eq!(yard.retain(minute(73 * 60), &FOREVER), Retained::default());
}

#[test]
fn a_late_reading_corrects_its_hour_and_its_day() {
    let mut yard = Yard::new();
    let mut readings = course(2);
    let late = readings.remove(100);
    yard.commit(&readings);
    yard.retain(minute(3 * 1440), &FOREVER);
    let late = (late.0, 7.0);
    readings.push(late);
    yard.commit(&[late]);
    yard.retain(minute(3 * 1440), &FOREVER);
    assert_same(&yard.bins(Resolution::Hour), &expected(&readings, Span::HOUR));
    assert_same(&yard.bins(Resolution::Day), &expected(&readings, Span::DAY));
}

#[test]
fn readings_and_hours_go_when_their_time_is_over_and_days_stay() {
    let mut yard = Yard::new();
    let readings = course(10);
    yard.commit(&readings);
    let policy = RetentionPolicy { raw_days: 2, hour_days: 5, journal_days: 30, ..FOREVER };
    let done = yard.retain(minute(10 * 1440), &policy);
    assert_eq!(done.deleted, 8 * 288 + 5 * 24);
    let since =
        |days: i64| readings.iter().copied().filter(|r| r.0 >= minute(days * 1440)).collect::<Vec<_>>();
    assert_eq!(yard.bins(Resolution::Raw).len(), since(8).len());
    assert_same(&yard.bins(Resolution::Hour), &expected(&since(5), Span::HOUR));
    assert_same(&yard.bins(Resolution::Day), &expected(&readings, Span::DAY));
}

#[test]
fn one_call_does_a_bounded_amount_of_work() {
    let mut yard = Yard::new();
    // An hour for each reading: 9,000 bins to roll up.
    let readings: Vec<_> = (0..9000).map(|i| (minute(i * 60), 0.5)).collect();
    yard.commit(&readings);
    let policy = RetentionPolicy { raw_days: 30, hour_days: 60, journal_days: 30, ..FOREVER };
    let now = minute(9000 * 60);
    let mut calls = Vec::new();
    loop {
        let step = yard.ledger.retain(now, &policy).unwrap();
        assert!(step.rolled_up <= 2000, "{step:?}");
        calls.push(step);
        if !step.more {
            break;
        }
    }
    assert!(calls.len() > 4, "{calls:?}");
    assert!(calls[0].deleted == 0, "nothing is deleted before it is rolled up: {calls:?}");
    assert_same(&yard.bins(Resolution::Day), &expected(&readings, Span::DAY));
    assert_eq!(yard.bins(Resolution::Raw).len(), 30 * 24);
    assert_eq!(yard.bins(Resolution::Hour).len(), 60 * 24);
}

#[test]
fn the_journal_goes_once_every_engine_and_every_reader_is_past_it() {
    let mut yard = Yard::new();
    for minutes in 0..10 {
        yard.commit(&[(minute(minutes), 0.5)]);
    }
    let now = minute(60);
    assert_eq!(yard.retain(now, &FOREVER).trimmed, 0, "the engine has no snapshot");
    let mut batch = Batch::default();
    batch.save(yard.east, b"after ten".to_vec());
    batch.reach("influx", Position::Readings(4));
    yard.ledger.commit(&batch).unwrap();
    assert_eq!(yard.retain(now, &FOREVER).trimmed, 4, "a reader has come as far as commit 4");
    let view = View::open(yard.folder.path()).unwrap();
    assert_eq!(view.readings_since(4, 100).unwrap().readings.len(), 6);
    let impatient = RetentionPolicy { journal_days: 1, ..FOREVER };
    assert_eq!(
        yard.retain(minute(1440 + 3), &impatient).trimmed,
        0,
        "what came first is a day old, but passed"
    );
    assert_eq!(yard.retain(minute(1440 + 7), &impatient).trimmed, 3, "commits 5 to 7 waited for a day");
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, ..ProptestConfig::default() })]

    /// Whatever comes in which order, however upkeep falls between, the days count every reading once.
    #[test]
    fn roll_ups_equal_the_readings_in_any_order_and_under_any_upkeep(
        minutes in proptest::collection::btree_set(0i64..12 * 1440, 1..250),
        order in any::<u64>(),
        upkeep in proptest::collection::vec((0i64..13 * 1440, 1u32..6), 0..8),
    ) {
        let mut readings: Vec<(EventTime, f64)> =
            minutes.iter().map(|m| (minute(*m), ((m * 31) % 97) as f64 / 10.0)).collect();
        shuffle(&mut readings, order);
        let mut yard = Yard::new();
        let chunk = readings.len().div_ceil(upkeep.len() + 1);
        let mut upkeep = upkeep.into_iter();
        for part in readings.chunks(chunk) {
            yard.commit(part);
            if let Some((now, days)) = upkeep.next() {
                let policy = RetentionPolicy { raw_days: days, hour_days: days + 1, journal_days: 30, ..FOREVER };
                yard.ledger.retain(minute(now), &policy).unwrap();
            }
        }
        yard.retain(minute(14 * 1440), &FOREVER);
        assert_same(&yard.bins(Resolution::Day), &expected(&readings, Span::DAY));
    }
}

/// Fisher-Yates with a small generator (xorshift64, Marsaglia 2003).
fn shuffle<T>(items: &mut [T], seed: u64) {
    let mut state = seed | 1;
    for i in (1..items.len()).rev() {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        items.swap(i, (state % (i as u64 + 1)) as usize);
    }
}

#[test]
fn the_course_begins_at_midnight() {
    assert_eq!(START.millis() % Span::DAY.millis(), 0);
}
