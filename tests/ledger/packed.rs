//! Packed readings against the same readings kept plainly in a map: no answer changes, nothing is lost.

use std::collections::BTreeMap;

use basinward::ledger::ExportStep;
use basinward::ledger::{
    Batch, Bin, Ledger, LedgerFault, Order, Position, Resolution, RetentionPolicy, SystemNo, View,
};
use basinward::model::{EventTime, SensorIx, Span};
use proptest::prelude::*;
use rusqlite::{Connection, params};
use tempfile::TempDir;

use crate::yard::{PROBE, id, minute, system, take};

const FOREVER: RetentionPolicy =
    RetentionPolicy { raw_days: 10_000, hour_days: 10_000, journal_days: 10_000, message_days: 10_000 };
const FLOAT: SensorIx = SensorIx(0);

/// A ledger, and what it was told.
struct Yard {
    folder: TempDir,
    ledger: Ledger,
    east: SystemNo,
    /// The first value of each sensor and minute.
    told: BTreeMap<(u16, i64), f64>,
    sent: u64,
}

impl Yard {
    fn new() -> Self {
        let folder = TempDir::new().unwrap();
        let mut ledger = Ledger::open(folder.path()).unwrap();
        let east = ledger.enrol([&system("east", &["quince"])]).unwrap()[0];
        let recovery = ledger.recover().unwrap();
        ledger.replay(&recovery, |_| ()).unwrap();
        Self { folder, ledger, east, told: BTreeMap::new(), sent: 0 }
    }

    fn tell(&mut self, readings: impl IntoIterator<Item = (SensorIx, i64, f64)>) {
        let mut batch = Batch::default();
        for (sensor, at, value) in readings {
            take(&mut batch, self.east, sensor, minute(at), value);
            self.told.entry((sensor.0, at)).or_insert(value);
            self.sent += 1;
        }
        self.ledger.commit(&batch).unwrap();
    }

    fn retain(&mut self, now: i64, policy: &RetentionPolicy) {
        while self.ledger.retain(minute(now), policy).unwrap().more {}
    }

    fn view(&self) -> View {
        View::open(self.folder.path()).unwrap()
    }

    fn db(&self) -> Connection {
        Connection::open(self.folder.path().join("ledger.db")).unwrap()
    }

    /// Blocks, readings in them, and readings beside them.
    fn stored(&self) -> (u64, u64, u64) {
        self.db()
            .query_row(
                "SELECT count(*), coalesce(sum(count), 0), (SELECT count(*) FROM readings) FROM packed",
                [],
                |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)),
            )
            .unwrap()
    }

    /// The readings of a sensor from `from` on, as told.
    fn course(&self, sensor: SensorIx, from: i64) -> Vec<(EventTime, f64)> {
        let of = self.told.range((sensor.0, from)..(sensor.0 + 1, i64::MIN));
        of.map(|((_, at), value)| (minute(*at), *value)).collect()
    }

    fn bins(&self, sensor: SensorIx, from: i64, resolution: Resolution) -> Vec<Bin> {
        let name = if sensor == PROBE { "quince/moisture" } else { "quince/float" };
        self.view().history(&id("east"), name, minute(from), minute(1 << 30), resolution).unwrap()
    }

    fn assert_raw(&self, sensor: SensorIx, from: i64) {
        let found: Vec<_> =
            self.bins(sensor, from, Resolution::Raw).iter().map(|bin| (bin.at, bin.mean)).collect();
        assert_eq!(found, self.course(sensor, from));
    }

    fn assert_rolled(&self, sensor: SensorIx, from: i64, resolution: Resolution) {
        let width = if resolution == Resolution::Hour { Span::HOUR } else { Span::DAY };
        let mut expected: BTreeMap<i64, Vec<f64>> = BTreeMap::new();
        for (at, value) in self.course(sensor, from) {
            expected.entry(at.millis().div_euclid(width.millis())).or_default().push(value);
        }
        let found = self.bins(sensor, from, resolution);
        assert_eq!(found.len(), expected.len(), "{resolution:?}");
        for (bin, (at, values)) in found.iter().zip(expected) {
            assert_eq!((bin.at.millis(), bin.count), (at * width.millis(), values.len() as u64));
            let extremes = (
                values.iter().copied().fold(f64::INFINITY, f64::min),
                values.iter().copied().fold(f64::NEG_INFINITY, f64::max),
            );
            assert_eq!((bin.min, bin.max), extremes);
            // Sums in another order differ in the last places.
            assert!((bin.mean - values.iter().sum::<f64>() / values.len() as f64).abs() < 1e-9);
        }
    }

    fn assert_nothing_changed(&self) {
        for sensor in [FLOAT, PROBE] {
            for from in [-1 << 30, 3 * 1440 + 17 * 60, 20 * 1440] {
                self.assert_raw(sensor, from);
                self.assert_rolled(sensor, from, Resolution::Hour);
            }
            self.assert_rolled(sensor, -1 << 30, Resolution::Day);
        }
        let totals = self.view().totals().unwrap();
        assert_eq!(
            (totals.readings, totals.duplicates),
            (self.told.len() as u64, self.sent - self.told.len() as u64)
        );
        let (_, packed, loose) = self.stored();
        assert_eq!(packed + loose, self.told.len() as u64, "each is stored once");
        self.view().check().unwrap();
    }

    /// All readings by series and time, as a reader that passes everything on gets them.
    fn past(&mut self, at_once: usize) -> Vec<(EventTime, f64)> {
        let mut batch = Batch::default();
        batch.order(Order::Export { cursor: "influx a".to_owned(), step: ExportStep::Begin });
        self.ledger.commit(&batch).unwrap();
        let view = self.view();
        let mut place = view.export_place("influx a").unwrap().past;
        let mut past = Vec::new();
        while let Some(at) = place {
            let some = view.past_readings(&at, at_once).unwrap();
            assert!(some.readings.len() <= at_once);
            past.extend(some.readings.iter().map(|reading| (reading.at, reading.value)));
            place = some.next;
        }
        past
    }
}

/// A value in thousandths that differs from minute to minute.
fn value(at: i64) -> f64 {
    ((at * 37).rem_euclid(611)) as f64 / 1000.0
}

fn every_five_minutes(days: std::ops::Range<i64>) -> impl Iterator<Item = (SensorIx, i64, f64)> {
    (days.start * 288..days.end * 288).map(|i| (PROBE, i * 5, value(i * 5)))
}

#[test]
fn what_is_older_than_a_week_is_packed_and_answers_as_before() {
    let mut yard = Yard::new();
    yard.tell(every_five_minutes(0..30));
    yard.retain(30 * 1440, &FOREVER);
    let (blocks, packed, loose) = yard.stored();
    assert!(packed >= 23 * 288 && blocks <= 9, "{blocks} blocks of {packed}");
    assert!(loose >= 3 * 288, "the last days stay as they came");
    yard.assert_nothing_changed();
    let again = yard.stored();
    yard.retain(30 * 1440 + 60, &FOREVER);
    assert_eq!(yard.stored(), again, "there is nothing more to do");
}

#[test]
fn a_reading_that_comes_late_for_a_block_is_kept_and_one_that_comes_twice_is_not() {
    let mut yard = Yard::new();
    yard.tell(every_five_minutes(0..30));
    yard.retain(30 * 1440, &FOREVER);
    let (blocks, packed, _) = yard.stored();
    // A gateway sends all of it again, and some that were missing.
    yard.tell(every_five_minutes(0..30));
    yard.tell((0..600).map(|i| (PROBE, i * 60 + 2, 7.0)));
    assert_eq!(yard.stored().1, packed, "a commit leaves blocks alone");
    yard.assert_raw(PROBE, -1 << 30);
    yard.retain(30 * 1440 + 60, &FOREVER);
    yard.assert_nothing_changed();
    yard.retain(31 * 1440 + 60, &FOREVER);
    yard.assert_nothing_changed();
    let (blocks_now, packed_now, _) = yard.stored();
    assert!(packed_now >= packed + 600 && blocks_now >= blocks, "the next sweep has packed them");
}

#[test]
fn a_reader_outside_gets_every_packed_reading_once_in_pieces_of_any_size() {
    let mut yard = Yard::new();
    yard.tell(every_five_minutes(0..20).chain((0..400).map(|i| (FLOAT, i * 60, f64::from(i % 7 == 0)))));
    yard.retain(20 * 1440, &FOREVER);
    yard.tell([(PROBE, 1442, 9.0), (FLOAT, 7, 1.0)]);
    assert!(yard.stored().0 > 2);
    let all: Vec<_> = [FLOAT, PROBE].into_iter().flat_map(|sensor| yard.course(sensor, -1 << 30)).collect();
    for at_once in [1000, 77, 5000] {
        assert_eq!(yard.past(at_once), all, "{at_once} at once");
    }
    let since = yard.view().readings_since(0, 1 << 20).unwrap().readings;
    assert_eq!(since.len() as u64, yard.sent);
}

#[test]
fn blocks_go_when_their_time_is_over_and_leave_their_hours() {
    let mut yard = Yard::new();
    yard.tell(every_five_minutes(0..40));
    yard.retain(40 * 1440, &FOREVER);
    yard.tell((0..300).map(|i| (PROBE, i * 60 + 3, 0.9)));
    for (now, raw_days, hour_days) in [(40, 30, 35), (41, 28, 28), (43, 25, 36), (60, 25, 100)] {
        let policy = RetentionPolicy { raw_days, hour_days, ..FOREVER };
        yard.retain(now * 1440, &policy);
        let since = |days: u32| (now - i64::from(days)) * 1440;
        yard.assert_raw(PROBE, since(raw_days));
        yard.assert_rolled(PROBE, since(hour_days.min(28)), Resolution::Hour);
        yard.assert_rolled(PROBE, -1 << 30, Resolution::Day);
        let oldest = yard.bins(PROBE, -1 << 30, Resolution::Raw);
        assert!(oldest.first().is_none_or(|bin| bin.at >= minute(since(raw_days))), "{now}");
    }
}

#[test]
fn a_damaged_block_is_told_to_readers_and_stops_nothing_else() {
    let mut yard = Yard::new();
    yard.tell(every_five_minutes(0..30));
    yard.retain(30 * 1440, &FOREVER);
    yard.view().check().unwrap();
    let db = yard.db();
    let (no, mut body): (i64, Vec<u8>) = db
        .query_row("SELECT no, body FROM packed ORDER BY at LIMIT 1", [], |row| {
            Ok((row.get(0)?, row.get(1)?))
        })
        .unwrap();
    body[40] ^= 4;
    db.execute("UPDATE packed SET body = ?2 WHERE no = ?1", params![no, body]).unwrap();
    let read = |from| {
        yard.view().history(&id("east"), "quince/moisture", minute(from), minute(1 << 30), Resolution::Raw)
    };
    for fault in [yard.view().check().unwrap_err(), read(0).unwrap_err()] {
        assert!(matches!(fault, LedgerFault::Damaged { .. }), "{fault:?}");
        assert!(fault.to_string().contains("checksum"), "{fault}");
    }
    assert_eq!(read(20 * 1440).unwrap().len(), 10 * 288);
    yard.tell([(PROBE, 3, 0.5), (PROBE, 30 * 1440, 0.5)]);
    yard.retain(35 * 1440, &FOREVER);
    let policy = RetentionPolicy { raw_days: 10, hour_days: 20, ..FOREVER };
    yard.retain(60 * 1440, &policy);
    yard.view().check().unwrap();
}

#[test]
fn a_reader_of_commits_hears_of_a_packed_reading_what_was_kept() {
    let mut yard = Yard::new();
    let mut batch = Batch::default();
    batch.reach("influx", Position::Readings(0));
    yard.ledger.commit(&batch).unwrap();
    yard.tell(every_five_minutes(0..15));
    yard.tell([(PROBE, 5, 0.999)]);
    yard.retain(15 * 1440, &FOREVER);
    yard.tell([(PROBE, 10, 0.999)]);
    let since = yard.view().readings_since(0, 1 << 20).unwrap().readings;
    let at =
        |at: i64| since.iter().filter(move |it| it.at == minute(at)).map(|it| it.value).collect::<Vec<_>>();
    assert_eq!((at(5), at(10)), (vec![value(5); 2], vec![value(10); 2]));
}

/// What one sensor does for a while: it reports every few minutes, or now and then.
fn stretch() -> impl Strategy<Value = Vec<(SensorIx, i64, f64)>> {
    let sensor = prop_oneof![Just(FLOAT), Just(PROBE)];
    (sensor, 0i64..60 * 1440, prop_oneof![Just(1i64), Just(5), Just(61), Just(1440)], 1i64..700).prop_map(
        |(sensor, begins, step, count)| {
            (0..count).map(|i| (sensor, begins + i * step, value(begins + i * step * 3))).collect()
        },
    )
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, ..ProptestConfig::default() })]

    /// Whatever comes in which order, twice or late, and whenever upkeep runs, every answer is that of the map.
    #[test]
    fn packing_changes_no_answer(
        stretches in proptest::collection::vec((stretch(), 0i64..120), 1..9),
    ) {
        let mut yard = Yard::new();
        for (readings, now) in stretches {
            yard.tell(readings);
            for sensor in [FLOAT, PROBE] {
                yard.assert_raw(sensor, -1 << 30);
            }
            yard.retain(now * 1440, &FOREVER);
        }
        for now in [800, 801, 900] {
            yard.retain(now * 1440, &FOREVER);
            yard.assert_nothing_changed();
        }
        prop_assert!(yard.stored().0 > 0);
    }

    /// As above with readings and hours that go: days count every reading once, and what is kept is right.
    #[test]
    fn packing_and_forgetting_count_every_reading_once(
        stretches in proptest::collection::vec((stretch(), 0i64..120, 4u32..30, 0u32..9), 1..9),
    ) {
        let mut yard = Yard::new();
        for (readings, now, raw_days, more) in stretches {
            // What comes again after its reading is gone cannot be known for the same.
            let new: Vec<_> = readings.into_iter().filter(|it| !yard.told.contains_key(&(it.0.0, it.1))).collect();
            yard.tell(new);
            let policy = RetentionPolicy { raw_days, hour_days: raw_days + more, ..FOREVER };
            yard.retain(now * 1440, &policy);
            yard.view().check().unwrap();
        }
        for now in [800, 830, 860] {
            let policy = RetentionPolicy { raw_days: 400, hour_days: 400, ..FOREVER };
            yard.retain(now * 1440, &policy);
            for sensor in [FLOAT, PROBE] {
                yard.assert_rolled(sensor, -1 << 30, Resolution::Day);
            }
            yard.view().check().unwrap();
        }
    }
}
