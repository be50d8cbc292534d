//! What a commit writes, once, whatever comes twice, late or out of order.

use basinward::engine::{Change, Dose, Effect, Forecast, Input, Soak};
use basinward::ledger::{Batch, JournalEntry, Ledger, Position, Record, Resolution, View};
use basinward::model::{BasinIx, Quantity, Reading, SensorIx, Span, Value};
use tempfile::TempDir;

use crate::told::input;
use crate::yard::{PROBE, flooding, id, minute, reading, system, take};

#[test]
fn a_committed_reading_shows_in_history_and_as_the_latest() {
    let folder = TempDir::new().unwrap();
    let mut ledger = Ledger::open(folder.path()).unwrap();
    let no = ledger.enrol([&system("east", &["quince"])]).unwrap()[0];
    let mut batch = Batch::default();
    take(&mut batch, no, PROBE, minute(0), 0.2);
    take(&mut batch, no, PROBE, minute(5), 0.3);
    batch.take_in(
        no,
        minute(5),
        Input::Reading(Reading { sensor: SensorIx(0), at: minute(5), value: Value::Wet(true) }),
    );
    let commit = ledger.commit(&batch).unwrap();
    assert_eq!((commit.seq, commit.new_readings, commit.duplicates), (1, 3, 0));

    let view = View::open(folder.path()).unwrap();
    let latest = view.latest(Some(&id("east"))).unwrap();
    let seen: Vec<_> = latest.iter().map(|l| (&*l.sensor, l.quantity, l.at, l.value)).collect();
    assert_eq!(
        seen,
        [
            ("quince/float", Quantity::Float, minute(5), 1.0),
            ("quince/moisture", Quantity::Moisture, minute(5), 0.3)
        ]
    );
    assert_eq!(view.latest(None).unwrap().len(), 2);
    let raw = view.history(&id("east"), "quince/moisture", minute(0), minute(5), Resolution::Raw).unwrap();
    assert_eq!(raw.iter().map(|bin| (bin.at, bin.mean)).collect::<Vec<_>>(), [(minute(0), 0.2)]);
}

#[test]
fn how_readings_arrive_is_counted_by_sensor_and_their_last_payloads_are_kept() {
    let folder = TempDir::new().unwrap();
    let mut ledger = Ledger::open(folder.path()).unwrap();
    let no = ledger.enrol([&system("east", &["quince"])]).unwrap()[0];
    let mut batch = Batch::default();
    let bring = |batch: &mut Batch, received, at, payload: &str| {
        batch.take_in(no, received, reading(PROBE, at, 0.2));
        batch.carried_by(payload.as_bytes());
    };
    bring(&mut batch, minute(1), minute(0), "20 %");
    bring(&mut batch, minute(2), minute(0), "20 % again");
    ledger.commit(&batch).unwrap();
    batch.clear();
    bring(&mut batch, minute(40), minute(5), "stored\twith\na break");
    bring(&mut batch, minute(41), minute(0), "20 % once more");
    bring(&mut batch, minute(42), minute(42), &"x".repeat(5000));
    ledger.commit(&batch).unwrap();

    let arrived = View::open(folder.path()).unwrap().arrivals(&id("east")).unwrap();
    let [of] = &arrived[..] else { panic!("{arrived:?}") };
    assert_eq!((&*of.sensor, of.since, of.last), ("quince/moisture", minute(1), minute(42)));
    assert_eq!((of.readings, of.repeated, of.late), (5, 2, 2));
    assert_eq!(of.longest, Span::from_mins(41));
    let payloads: Vec<_> =
        of.payloads.iter().map(|(at, payload)| (*at, &payload[..payload.len().min(20)])).collect();
    let told = [
        (42, "xxxxxxxxxxxxxxxxxxxx"),
        (41, "20 % once more"),
        (40, "stored with a break"),
        (2, "20 % again"),
        (1, "20 %"),
    ];
    assert_eq!(payloads, told.map(|(at, payload)| (minute(at), payload)));
    assert_eq!(of.payloads[0].1.len(), 160, "only the beginning is kept");
}

#[test]
fn of_two_readings_at_one_time_the_first_wins_within_and_across_batches() {
    let folder = TempDir::new().unwrap();
    let mut ledger = Ledger::open(folder.path()).unwrap();
    let no = ledger.enrol([&system("east", &["quince"])]).unwrap()[0];
    let mut batch = Batch::default();
    take(&mut batch, no, PROBE, minute(0), 0.2);
    take(&mut batch, no, PROBE, minute(0), 0.9);
    assert_eq!(ledger.commit(&batch).unwrap().duplicates, 1);
    let again = ledger.commit(&batch).unwrap();
    assert_eq!((again.new_readings, again.duplicates), (0, 2));

    let view = View::open(folder.path()).unwrap();
    assert_eq!(Some(view.latest(None).unwrap()[0].value), Some(0.2));
    let totals = view.totals().unwrap();
    assert_eq!((totals.messages, totals.readings, totals.duplicates, totals.last_commit), (4, 1, 3, 2));
    assert!(totals.bytes > 0);
}

#[test]
fn readings_out_of_order_end_in_order_and_a_late_one_is_not_the_latest() {
    let folder = TempDir::new().unwrap();
    let mut ledger = Ledger::open(folder.path()).unwrap();
    let no = ledger.enrol([&system("east", &["quince"])]).unwrap()[0];
    let mut batch = Batch::default();
    for minutes in [30, 10, 50, 20] {
        take(&mut batch, no, PROBE, minute(minutes), minutes as f64 / 100.0);
    }
    ledger.commit(&batch).unwrap();
    batch.clear();
    take(&mut batch, no, PROBE, minute(40), 0.4);
    ledger.commit(&batch).unwrap();

    let view = View::open(folder.path()).unwrap();
    let raw = view.history(&id("east"), "quince/moisture", minute(0), minute(60), Resolution::Raw).unwrap();
    assert_eq!(raw.iter().map(|bin| bin.mean).collect::<Vec<_>>(), [0.1, 0.2, 0.3, 0.4, 0.5]);
    assert_eq!(view.latest(None).unwrap()[0].at, minute(50));
}

#[test]
fn a_value_that_is_no_number_is_left_out_instead_of_stopping_the_ledger() {
    let folder = TempDir::new().unwrap();
    let mut ledger = Ledger::open(folder.path()).unwrap();
    let no = ledger.enrol([&system("east", &["quince"])]).unwrap()[0];
    let mut batch = Batch::default();
    take(&mut batch, no, PROBE, minute(0), f64::NAN);
    take(&mut batch, no, PROBE, minute(1), 0.3);
    assert_eq!(ledger.commit(&batch).unwrap().new_readings, 1);
}

#[test]
fn a_finding_lives_from_raised_to_cleared_and_each_change_is_logged_once() {
    let folder = TempDir::new().unwrap();
    let mut ledger = Ledger::open(folder.path()).unwrap();
    let no = ledger.enrol([&system("east", &["quince"])]).unwrap()[0];
    let view = View::open(folder.path()).unwrap();
    let mut batch = Batch::default();
    batch.conclude(no, flooding(Change::Raised, "quince", minute(0), 0.9));
    batch.conclude(no, flooding(Change::Updated, "quince", minute(9), 0.95));
    ledger.commit(&batch).unwrap();
    // The same again, as after a restart.
    assert_eq!(ledger.commit(&batch).unwrap().last_effect, 2);

    let open = view.findings_open().unwrap();
    assert_eq!(open.len(), 1);
    assert_eq!((open[0].raised_at, open[0].changed_at), (minute(0), minute(9)));
    assert_eq!((open[0].finding.probability, &open[0].system), (0.95, &id("east")));

    batch.clear();
    batch.conclude(no, flooding(Change::Cleared, "quince", minute(30), 0.95));
    batch.conclude(no, flooding(Change::Raised, "quince", minute(60), 0.8));
    ledger.commit(&batch).unwrap();
    let changes: Vec<_> =
        view.changes_since(1, 10).unwrap().into_iter().map(|c| (c.seq, c.record.at())).collect();
    assert_eq!(changes, [(2, minute(9)), (3, minute(30)), (4, minute(60))]);
    let history = view.findings_history(Some(&id("east")), minute(90), 10).unwrap();
    let lives: Vec<_> = history.iter().map(|f| (f.raised_at, f.cleared_at)).collect();
    assert_eq!(lives, [(minute(60), None), (minute(0), Some(minute(30)))]);
    assert_eq!(view.findings_history(None, minute(60), 10).unwrap()[0].raised_at, minute(0));
    assert_eq!(view.findings_open().unwrap()[0].raised_at, minute(60));
}

#[test]
fn an_engine_that_forgot_its_findings_does_not_raise_them_twice() {
    let folder = TempDir::new().unwrap();
    let mut ledger = Ledger::open(folder.path()).unwrap();
    let no = ledger.enrol([&system("east", &["quince"])]).unwrap()[0];
    let mut batch = Batch::default();
    batch.conclude(no, flooding(Change::Cleared, "quince", minute(0), 0.9));
    batch.conclude(no, flooding(Change::Updated, "quince", minute(1), 0.9));
    batch.conclude(no, flooding(Change::Raised, "quince", minute(2), 0.8));
    ledger.commit(&batch).unwrap();
    let view = View::open(folder.path()).unwrap();
    let changes: Vec<_> = view
        .changes_since(0, 10)
        .unwrap()
        .into_iter()
        .map(|logged| match logged.record {
            Record::Finding(finding) => (finding.change, finding.at),
            Record::Dose(_) | Record::Soak(_) => panic!("no dose or soak was concluded"),
        })
        .collect();
    assert_eq!(changes, [(Change::Raised, minute(1)), (Change::Updated, minute(2))]);
    assert_eq!(view.findings_open().unwrap()[0].raised_at, minute(1));
}

#[test]
fn the_newest_forecast_counts_and_the_older_ones_are_kept() {
    let folder = TempDir::new().unwrap();
    let mut ledger = Ledger::open(folder.path()).unwrap();
    let no = ledger.enrol([&system("east", &["quince", "fig"])]).unwrap()[0];
    let mut batch = Batch::default();
    let thought = |made, basin, due| Forecast {
        made: minute(made),
        basin: BasinIx(basin),
        due: minute(due),
        earliest: minute(due - 10),
        latest: minute(due + 10),
        basis: "the mulch is young".to_owned(),
        litres: 900.0,
        mulch_left: 0.7,
    };
    for forecast in [thought(1, 0, 500), thought(8, 0, 480), thought(8, 1, 900)] {
        batch.conclude(no, Effect::Forecast(forecast));
    }
    ledger.commit(&batch).unwrap();
    ledger.commit(&batch).unwrap();

    let view = View::open(folder.path()).unwrap();
    let newest = view.forecasts().unwrap();
    let dues: Vec<_> = newest.iter().map(|(_, forecast)| (forecast.basin.as_str(), forecast.due)).collect();
    assert_eq!(dues, [("fig", minute(900)), ("quince", minute(480))]);
    let course = view.forecasts_of(&id("east"), &id("quince"), minute(0), minute(9)).unwrap();
    assert_eq!(course.iter().map(|forecast| forecast.due).collect::<Vec<_>>(), [minute(500), minute(480)]);
    assert!(view.forecasts_of(&id("west"), &id("quince"), minute(0), minute(9)).unwrap().is_empty());
}

#[test]
fn doses_and_soaks_are_kept_by_basin_name() {
    let folder = TempDir::new().unwrap();
    let mut ledger = Ledger::open(folder.path()).unwrap();
    let no = ledger.enrol([&system("east", &["quince", "fig"])]).unwrap()[0];
    let mut batch = Batch::default();
    let shares = vec![(BasinIx(0), 0.4), (BasinIx(1), 0.6)];
    batch.conclude(no, Effect::Dose(Dose { at: minute(0), litres: Some(60.0), shares, quality: 0.8 }));
    for basin in [0, 1] {
        let lasted = Span::from_mins(40);
        batch.conclude(no, Effect::Soak(Soak { basin: BasinIx(basin), began: minute(2), lasted }));
    }
    ledger.commit(&batch).unwrap();
    // The file changes its order; the past keeps its names.
    ledger.enrol([&system("east", &["fig", "quince"])]).unwrap();

    let view = View::open(folder.path()).unwrap();
    let doses = view.doses(&id("east"), minute(0), minute(1)).unwrap();
    assert_eq!(doses[0].shares.get(&id("quince")), Some(&0.4));
    let soaks = view.soaks(&id("east"), minute(0), minute(9)).unwrap();
    let basins: Vec<_> = soaks.iter().map(|soak| soak.basin.as_str()).collect();
    assert_eq!((basins, soaks[0].lasted), (vec!["fig", "quince"], Span::from_mins(40)));
    assert!(view.doses(&id("east"), minute(1), minute(9)).unwrap().is_empty());
    assert!(view.doses(&id("west"), minute(0), minute(9)).unwrap().is_empty());
    let kinds: Vec<_> = view.changes_since(0, 2).unwrap().into_iter().map(|logged| logged.record).collect();
    assert!(matches!(&kinds[..], [Record::Dose(_), Record::Soak(_)]));
}

#[test]
fn a_sensor_keeps_its_history_when_the_file_changes_its_order() {
    let folder = TempDir::new().unwrap();
    let mut ledger = Ledger::open(folder.path()).unwrap();
    let no = ledger.enrol([&system("east", &["quince", "fig"])]).unwrap()[0];
    let mut batch = Batch::default();
    take(&mut batch, no, PROBE, minute(0), 0.2);
    ledger.commit(&batch).unwrap();
    let again = ledger.enrol([&system("east", &["fig", "quince"]), &system("west", &["plum"])]).unwrap();
    assert_eq!(again[0], no);
    assert_ne!(again[1], no);
    batch.clear();
    take(&mut batch, no, SensorIx(3), minute(1), 0.3);
    ledger.commit(&batch).unwrap();
    let view = View::open(folder.path()).unwrap();
    let raw =
        |sensor| view.history(&id("east"), sensor, minute(0), minute(9), Resolution::Raw).unwrap().len();
    assert_eq!((raw("quince/moisture"), raw("fig/moisture")), (2, 0));
}

#[test]
fn refusals_are_counted_by_reason_and_the_newest_kept() {
    let folder = TempDir::new().unwrap();
    let mut ledger = Ledger::open(folder.path()).unwrap();
    let mut batch = Batch::default();
    for i in 0..150 {
        batch.refuse(
            "out-of-range",
            "greywater/east/quince/moisture",
            b"7",
            &format_args!("no. {i}"),
            minute(i),
        );
    }
    batch.refuse("not-utf-8", "greywater/east/quince/float", &[0xff], &"not text", minute(150));
    batch.hear_unassigned("greywater/north/fig/float", b"wet", minute(3));
    ledger.commit(&batch).unwrap();
    ledger.commit(&batch).unwrap();

    let view = View::open(folder.path()).unwrap();
    let refusals = view.refusals().unwrap();
    assert_eq!((refusals.counts["out-of-range"], refusals.counts["not-utf-8"]), (300, 2));
    assert_eq!((refusals.samples.len(), refusals.samples[0].reason.as_str()), (200, "not-utf-8"));
    assert_eq!(refusals.samples[1].detail, "no. 149");
    let heard = view.unassigned().unwrap();
    assert_eq!((heard.len(), heard[0].count, heard[0].sample.as_str()), (1, 2, "wet"));
    assert_eq!(view.totals().unwrap().unassigned, 2);
}

#[test]
fn of_endless_unassigned_topics_the_newest_500_are_kept() {
    let folder = TempDir::new().unwrap();
    let mut ledger = Ledger::open(folder.path()).unwrap();
    let mut batch = Batch::default();
    for round in 0..3 {
        batch.clear();
        for i in 0..400 {
            let n = round * 400 + i;
            batch.hear_unassigned(&format!("greywater/t{n:04}"), b"1", minute(n));
        }
        ledger.commit(&batch).unwrap();
    }
    let topics = View::open(folder.path()).unwrap().unassigned().unwrap();
    assert_eq!((topics.len(), topics[0].topic.as_str()), (500, "greywater/t0700"));
}

#[test]
fn a_cursor_never_goes_back() {
    let folder = TempDir::new().unwrap();
    let mut ledger = Ledger::open(folder.path()).unwrap();
    let view = View::open(folder.path()).unwrap();
    assert_eq!(view.effects_cursor("webhook").unwrap(), 0);
    let mut batch = Batch::default();
    for seq in [7, 5] {
        batch.reach("webhook", Position::Effects(seq));
        ledger.commit(&batch).unwrap();
        batch.clear();
    }
    assert_eq!((view.effects_cursor("webhook").unwrap(), view.readings_cursor("webhook").unwrap()), (7, 0));
}

#[test]
fn readings_are_passed_on_in_the_order_of_their_commits() {
    let folder = TempDir::new().unwrap();
    let mut ledger = Ledger::open(folder.path()).unwrap();
    let no = ledger.enrol([&system("east", &["quince"])]).unwrap()[0];
    for minutes in [5, 0, 10] {
        let mut batch = Batch::default();
        take(&mut batch, no, PROBE, minute(minutes), 0.25);
        batch.take_in(no, minute(minutes), Input::Tick);
        ledger.commit(&batch).unwrap();
    }
    let view = View::open(folder.path()).unwrap();
    let first = view.readings_since(0, 2).unwrap();
    assert_eq!((first.seq, first.readings.len()), (2, 2));
    assert_eq!((&*first.readings[0].sensor, first.readings[1].at), ("quince/moisture", minute(0)));
    let rest = view.readings_since(first.seq, 100).unwrap();
    assert_eq!((rest.seq, rest.readings.len()), (3, 1));
    assert_eq!(view.readings_since(3, 100).unwrap().seq, 3);
}

#[test]
fn engines_come_back_from_their_snapshot_and_what_followed() {
    let folder = TempDir::new().unwrap();
    let both = [system("east", &["quince", "fig"]), system("west", &["plum"])];
    let mut ledger = Ledger::open(folder.path()).unwrap();
    let nos = ledger.enrol(&both).unwrap();
    let (east, west) = (nos[0], nos[1]);
    let mut batch = Batch::default();
    take(&mut batch, east, PROBE, minute(0), 0.2);
    take(&mut batch, west, PROBE, minute(0), 0.2);
    batch.save(east, b"east after the first".to_vec());
    ledger.commit(&batch).unwrap();
    batch.clear();
    take(&mut batch, east, PROBE, minute(5), 0.3);
    batch.take_in(east, minute(6), Input::Tick);
    ledger.commit(&batch).unwrap();
    drop(ledger);

    // Quince and fig changed places in the file meanwhile.
    let both = [system("east", &["fig", "quince"]), system("west", &["plum"])];
    let mut ledger = Ledger::open(folder.path()).unwrap();
    assert_eq!(ledger.last_commit(), 2);
    ledger.enrol(&both).unwrap();
    let recovery = ledger.recover().unwrap();
    assert_eq!(recovery.last_received, Some(minute(5)));
    assert_eq!(recovery.snapshots.len(), 1);
    assert_eq!(
        (recovery.snapshots[&east].seq, &recovery.snapshots[&east].state[..]),
        (1, &b"east after the first"[..])
    );
    let mut replayed = Vec::new();
    assert_eq!(ledger.replay(&recovery, |lived| replayed.push(input(lived))).unwrap(), 3);
    let entry = |system, received, input| JournalEntry { system, received, input };
    let expected = [
        entry(west, minute(0), reading(PROBE, minute(0), 0.2)),
        entry(east, minute(5), reading(SensorIx(3), minute(5), 0.3)),
        entry(east, minute(6), Input::Tick),
    ];
    assert_eq!(replayed, expected);
}
