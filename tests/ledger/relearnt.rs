//! Engines whose memory cannot be used, as after an upgrade that remembers differently: they learn anew from what the
//! ledger keeps, and the ledger then says what they believe.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use std::sync::Arc;

use basinward::alerts::{Closing, Stage};
use basinward::engine::{Change, Effect, FindingChange};
use basinward::flowtest::{Caught, Method};
use basinward::ledger::{
    AlertFilter, Batch, DoseRecord, ForecastRecord, Ledger, Order, RetentionPolicy, ServiceDeed,
    ServiceOrder, StoredFinding, TestDeed, TestOrder, View,
};
use basinward::model::{
    EventTime, Finding, FindingKind, RecordKey, ServiceRecord, Severity, Span, Subject, System, Work,
};
use basinward::run::Steward;
use basinward::systemfile;
use rusqlite::Connection;
use simulators::radio::Message;
use simulators::scenario::{Library, Scenario, ScenarioError};
use tempfile::TempDir;

use crate::yard::{id, minute, system};

const SEED: u64 = 11;

/// A simulated yard with all that its sensors say, and how far it was heard.
struct Yard {
    system: Arc<System>,
    start: EventTime,
    messages: Vec<Message>,
    heard: usize,
}

impl Yard {
    /// Of a scenario, `days` long, after `change`.
    fn simulated(name: &str, days: i64, change: impl Fn(&mut Scenario)) -> Self {
        let mut scenario = Library::shipped().load(name).unwrap();
        scenario.duration = simulators::span::Span::days(days);
        change(&mut scenario);
        let file = format!("{}.toml", scenario.wiring.system);
        let system = Arc::new(systemfile::parse(&file, &scenario.system_text).unwrap());
        let mut messages = Vec::new();
        let mut hear = |message: &Message| {
            messages.push(message.clone());
            Ok(())
        };
        simulators::run::run::<ScenarioError>(&scenario, SEED, &mut hear, &mut |_| ()).unwrap();
        Self { system, start: EventTime::from_millis(scenario.start_ms), messages, heard: 0 }
    }

    fn day(&self, day: i64) -> EventTime {
        self.start + Span::from_days(day)
    }

    fn open(&self, folder: &Path) -> Steward {
        Steward::open(Ledger::open(folder).unwrap(), &[Arc::clone(&self.system)], "greywater").unwrap()
    }

    /// Lets `steward` hear what comes before `to`, a commit and upkeep now and then.
    fn live(&mut self, steward: &mut Steward, to: EventTime, policy: &RetentionPolicy) {
        let ahead = self.messages[self.heard..].iter();
        let ahead = ahead.take_while(|message| message.received_ms < to.millis()).count();
        for some in self.messages[self.heard..self.heard + ahead].chunks(2_000) {
            for Message { received_ms, topic, payload, .. } in some {
                steward.take(EventTime::from_millis(*received_ms), topic, payload);
            }
            steward.store().unwrap();
            let now = steward.now();
            while steward.ledger().retain(now, policy).unwrap().more {}
        }
        self.heard += ahead;
    }

    fn serve(&self, steward: &mut Steward, key: &str, record: ServiceRecord) {
        let (at, system) = (record.at, self.system.id.clone());
        let deed = ServiceDeed::Record(Box::new(record));
        let key = RecordKey::new(key).unwrap();
        let order = ServiceOrder { at, by: "sam".into(), system, key, deed };
        steward.order(at, Order::Service(order)).unwrap();
        steward.store().unwrap();
    }

    /// Catches `litres` below the outlets of the basins, in their order.
    fn catch(&self, steward: &mut Steward, at: EventTime, litres: &[f64]) {
        let begin = TestDeed::Begin { method: Method::Buckets, litres: None, note: String::new() };
        let basins = self.system.basins.iter().zip(litres);
        let caught = basins.map(|(basin, &litres)| (basin.id.clone(), Caught { litres, mark_litres: 0.1 }));
        let run = RecordKey::new("the-only-run-of-it").unwrap();
        let caught = TestDeed::Catch { run, caught: caught.collect::<BTreeMap<_, _>>() };
        for deed in [begin, caught, TestDeed::GiveUp] {
            let key = RecordKey::new("a-test-with-buckets").unwrap();
            let order = TestOrder { at, by: "sam".into(), system: self.system.id.clone(), key, deed };
            steward.order(at, Order::Test(order)).unwrap();
            steward.store().unwrap();
        }
    }
}

/// Makes every snapshot one of a version that no program knows.
fn outdate(folder: &Path) {
    for (system, mut state) in snapshots(folder) {
        state[..2].copy_from_slice(&[0xff, 0xff]);
        let db = Connection::open(folder.join("ledger.db")).unwrap();
        db.execute("UPDATE snapshots SET state = ?2 WHERE system = ?1", (system, state)).unwrap();
    }
}

fn snapshots(folder: &Path) -> BTreeMap<u32, Vec<u8>> {
    let db = Connection::open(folder.join("ledger.db")).unwrap();
    let mut query = db.prepare("SELECT system, state FROM snapshots").unwrap();
    let rows = query.query_map([], |row| Ok((row.get(0)?, row.get(1)?))).unwrap();
    rows.collect::<Result<_, _>>().unwrap()
}

fn copy(folder: &Path) -> TempDir {
    let copy = TempDir::new().unwrap();
    std::fs::copy(folder.join("ledger.db"), copy.path().join("ledger.db")).unwrap();
    copy
}

fn view(folder: &Path) -> View {
    View::open(folder).unwrap()
}

/// Everything that was told, counted and is open.
fn told(folder: &Path) -> (u64, u64, Vec<StoredFinding>, usize) {
    let view = view(folder);
    let alerts = view.alerts(&AlertFilter::default(), 1_000).unwrap();
    let steps = alerts.iter().map(|alert| view.alert(alert.no).unwrap().unwrap().steps.len()).sum();
    (view.last_effect().unwrap(), view.totals().unwrap().readings, view.findings_open().unwrap(), steps)
}

fn finding(kind: FindingKind, subject: Subject) -> Finding {
    let (severity, probability) = (Severity::Warning, 0.9);
    Finding { kind, subject, severity, probability, estimate: serde_json::Map::new(), evidence: vec![] }
}

/// Tells the ledger of a finding that its engine knows nothing of.
fn tell(steward: &mut Steward, system: &System, at: EventTime, finding: Finding) {
    let no = steward.ledger().enrol([system]).unwrap()[0];
    let mut batch = Batch::default();
    batch.conclude(no, Effect::Finding(FindingChange { change: Change::Raised, at, finding }));
    steward.ledger().commit(&batch).unwrap();
}

#[test]
fn what_is_learnt_anew_is_what_was_remembered_to_the_last_bit_where_messages_are_in_time() {
    let mut yard = Yard::simulated("tilt-step", 85, |scenario| scenario.radio.late = 0.0);
    let folder = TempDir::new().unwrap();
    let mut steward = yard.open(folder.path());
    let policy = RetentionPolicy::default();
    yard.live(&mut steward, yard.day(20), &policy);
    yard.catch(&mut steward, yard.day(20), &[11.0, 9.0, 8.0, 12.0]);
    yard.live(&mut steward, yard.day(30), &policy);
    let look = ServiceRecord::look(Subject::Basin(id("fig")), yard.day(30));
    let work = vec![Work::MulchRenewed];
    let record = ServiceRecord { mulch_found_mm: Some(150.0), mulch_left_mm: Some(220.0), work, ..look };
    yard.serve(&mut steward, "new-chips-for-the-fig", record);
    yard.live(&mut steward, yard.day(85), &policy);
    steward.put_away().unwrap();
    drop(steward);
    let (before, remembered) = (told(folder.path()), snapshots(folder.path()));
    let is_open = |kind| before.2.iter().any(|open| open.finding.kind == kind);
    assert!(is_open(FindingKind::UnevenSplit), "there is something to stand: {:?}", before.2);

    outdate(folder.path());
    drop(yard.open(folder.path()));
    assert_eq!(told(folder.path()), before, "nothing is told again, counted again or taken back");
    assert!(snapshots(folder.path()) == remembered, "what was learnt anew differs from what was remembered");
}

/// As [`the last`](what_is_learnt_anew_is_what_was_remembered_to_the_last_bit_where_messages_are_in_time), by radio:
/// some messages come late, twice and out of order, which the ledger does not remember.
#[test]
fn by_radio_the_same_is_concluded_from_then_on() {
    let mut yard = Yard::simulated("healthy-family", 80, |_| ());
    let folder = TempDir::new().unwrap();
    let mut steward = yard.open(folder.path());
    let policy = RetentionPolicy::default();
    yard.live(&mut steward, yard.day(65), &policy);
    steward.put_away().unwrap();
    drop(steward);
    let (copy, heard, before) = (copy(folder.path()), yard.heard, told(folder.path()));
    outdate(copy.path());
    for folder in [folder.path(), copy.path()] {
        let mut steward = yard.open(folder);
        assert_eq!(told(folder), before);
        yard.heard = heard;
        yard.live(&mut steward, yard.day(80), &policy);
    }
    let since = |folder: &Path| view(folder).doses(&yard.system.id, yard.day(65), yard.day(80)).unwrap();
    let (usual, anew) = (since(folder.path()), since(copy.path()));
    assert_eq!(usual.len(), anew.len());
    let (mut off, mut most) = (0.0, 0.0_f64);
    for (one, other) in usual.iter().zip(&anew) {
        let apart = apart(one, other);
        (off, most) = (off + apart / usual.len() as f64, most.max(apart));
    }
    println!("{} doses: shares {off:.5} apart, at most {most:.5}", usual.len());
    assert!(!usual.is_empty() && off < 0.003 && most < 0.03, "{off} {most}");
    let open = |folder| -> Vec<_> {
        let open = view(folder).findings_open().unwrap().into_iter();
        open.map(|open| (open.finding.kind, open.finding.subject)).collect()
    };
    assert_eq!(open(folder.path()), open(copy.path()));
}

/// The largest difference of a share.
fn apart(a: &DoseRecord, b: &DoseRecord) -> f64 {
    assert!(a.at == b.at && a.shares.len() == b.shares.len(), "{a:?} {b:?}");
    let litres = [a.litres.unwrap_or(0.0), b.litres.unwrap_or(0.0)];
    assert!((litres[0] - litres[1]).abs() <= 0.01 * litres[0], "{litres:?}");
    a.shares.iter().map(|(basin, share)| (share - b.shares[basin]).abs()).fold(0.0, f64::max)
}

#[test]
fn what_the_ledger_holds_open_is_brought_up_to_what_the_engine_believes() {
    let folder = TempDir::new().unwrap();
    let east = Arc::new(system("east", &["quince", "fig"]));
    let open = || Steward::open(Ledger::open(folder.path()).unwrap(), &[Arc::clone(&east)], "greywater");
    let mut steward = open().unwrap();
    // Everything but the float of the fig is heard for two days; it falls silent.
    for step in 0..192 {
        let at = minute(15 * step);
        let mut say = |topic: &str, value: &str| {
            let payload = format!("{{\"value\":{value},\"time\":{}}}", at.millis());
            steward.take(at, &format!("greywater/east/{topic}"), payload.as_bytes());
        };
        say("quince/moisture", "0.2");
        say("fig/moisture", "0.21");
        say("quince/float", "false");
        if step < 20 {
            say("fig/float", "false");
        }
    }
    steward.put_away().unwrap();
    let silent = Subject::Sensor("fig/float".to_owned());
    let blocked = Subject::Basin(id("quince"));
    let standing = || -> Vec<_> {
        let open = view(folder.path()).findings_open().unwrap().into_iter();
        open.map(|open| (open.finding.kind, open.finding.subject)).collect()
    };
    assert_eq!(standing(), [(FindingKind::SensorSilent, silent.clone())]);
    // As if the program before had told of a blockage, and knew nothing of silent floats.
    tell(&mut steward, &east, minute(2_000), finding(FindingKind::BlockedOutlet, blocked.clone()));
    drop(steward);
    let db = Connection::open(folder.path().join("ledger.db")).unwrap();
    db.execute("DELETE FROM findings WHERE kind = 'sensor-silent'", []).unwrap();
    db.execute("UPDATE alerts SET kind = 'battery-low' WHERE kind = 'sensor-silent'", []).unwrap();
    drop(db);

    outdate(folder.path());
    drop(open().unwrap());
    assert_eq!(standing(), [(FindingKind::SensorSilent, silent)]);
    let alerts = view(folder.path()).alerts(&AlertFilter::default(), 9).unwrap();
    let alert = |kind| alerts.iter().find(|alert| alert.finding.kind == kind).unwrap();
    let Stage::Closed { how: Closing::Cleared, .. } = alert(FindingKind::BlockedOutlet).stage else {
        panic!("{alerts:?}")
    };
    let why = &alert(FindingKind::BlockedOutlet).finding.evidence.last().unwrap().says;
    assert!(why.contains("judged anew: by them this does not stand"), "{why}");
    assert!(alert(FindingKind::SensorSilent).stage.is_open());

    let before = told(folder.path());
    drop(open().unwrap());
    assert_eq!(told(folder.path()), before, "once");
}

#[test]
fn what_lies_before_the_stored_readings_comes_from_forecasts_and_records() {
    let mut yard = Yard::simulated("healthy-family", 170, |_| ());
    let folder = TempDir::new().unwrap();
    let mut steward = yard.open(folder.path());
    // The readings of the last sixty days are kept.
    let policy = RetentionPolicy { raw_days: 60, ..RetentionPolicy::default() };
    yard.live(&mut steward, yard.day(70), &policy);
    let look = ServiceRecord::look(Subject::Basin(id("fig")), yard.day(70));
    yard.serve(&mut steward, "the-chips-of-the-fig", ServiceRecord { mulch_found_mm: Some(120.0), ..look });
    let look = ServiceRecord::look(Subject::Basin(id("quince")), yard.day(70));
    let work = vec![Work::MulchRenewed];
    yard.serve(&mut steward, "the-chips-of-the-quince", ServiceRecord { work, ..look });
    yard.live(&mut steward, yard.day(150), &policy);
    let uneven = Subject::Splitter(id("s2"));
    tell(&mut steward, &yard.system, yard.day(80), finding(FindingKind::UnevenSplit, uneven));
    steward.put_away().unwrap();
    drop(steward);
    let (copy, heard) = (copy(folder.path()), yard.heard);
    outdate(copy.path());
    for folder in [folder.path(), copy.path()] {
        let mut steward = yard.open(folder);
        yard.heard = heard;
        yard.live(&mut steward, yard.day(170), &policy);
    }
    let forecast = |folder: &Path, basin: &str| -> ForecastRecord {
        let made = view(folder).forecasts_of(&yard.system.id, &id(basin), yard.day(155), yard.day(170));
        made.unwrap().pop().unwrap()
    };
    for basin in ["quince", "medlar", "fig", "mulberry"] {
        let (usual, anew) = (forecast(folder.path(), basin), forecast(copy.path(), basin));
        println!(
            "{basin}: {:.0} L, {:.4} left; anew {:.0} L, {:.4}",
            usual.litres, usual.mulch_left, anew.litres, anew.mulch_left
        );
        assert_eq!(usual.made, anew.made);
        assert!((anew.litres / usual.litres - 1.0).abs() < 0.07, "{usual:?} {anew:?}");
        assert!((anew.mulch_left - usual.mulch_left).abs() < 0.01, "{usual:?} {anew:?}");
    }
    // Nobody can tell of a splitter that was uneven before all readings that are kept.
    let alerts = view(copy.path()).alerts(&AlertFilter::default(), 99).unwrap();
    let alert = alerts.iter().find(|alert| alert.finding.kind == FindingKind::UnevenSplit).unwrap();
    let why = &alert.finding.evidence.last().unwrap().says;
    assert!(alert.stage.is_closed() && why.contains("look at it at the next visit"), "{alert:?}");
}

/// Opens without waiting for systems that have to learn.
fn open_soon(yard: &Yard, folder: &Path) -> Steward {
    let ledger = Ledger::open(folder).unwrap();
    Steward::open_soon(ledger, &[Arc::clone(&yard.system)], &BTreeSet::new(), "greywater").unwrap()
}

#[test]
fn what_comes_while_a_system_learns_anew_is_concluded_once_as_if_it_had_remembered() {
    let mut yard = Yard::simulated("tilt-step", 60, |scenario| scenario.radio.late = 0.0);
    let folder = TempDir::new().unwrap();
    let policy = RetentionPolicy::default();
    let mut steward = yard.open(folder.path());
    yard.live(&mut steward, yard.day(50), &policy);
    steward.put_away().unwrap();
    drop(steward);
    let (copy, heard, before) = (copy(folder.path()), yard.heard, told(folder.path()));
    outdate(copy.path());
    for folder in [folder.path(), copy.path()] {
        yard.heard = heard;
        // Nothing has learnt yet while readings, a record and buckets come; then the process is killed.
        let mut steward = open_soon(&yard, folder);
        yard.live(&mut steward, yard.day(52), &policy);
        let look = ServiceRecord::look(Subject::Basin(id("fig")), yard.day(52));
        let work = vec![Work::MulchRenewed];
        yard.serve(&mut steward, "new-chips-for-the-fig", ServiceRecord { work, ..look });
        yard.catch(&mut steward, yard.day(52), &[11.0, 9.0, 8.0, 12.0]);
        drop(steward);
        if folder == copy.path() {
            let now = told(folder);
            assert_eq!((now.0, &now.2), (before.0, &before.2), "nothing is concluded yet");
            assert!(now.1 > before.1, "all is stored");
        }
        // It goes on in the middle of what comes next.
        let mut steward = open_soon(&yard, folder);
        yard.live(&mut steward, yard.day(54), &policy);
        steward.let_learn(|| ()).unwrap();
        assert_eq!(!steward.learning().is_over(), folder == copy.path());
        let now = steward.now();
        while !steward.learning().is_over() {
            steward.take_learnt(now).unwrap();
            std::thread::sleep(std::time::Duration::from_millis(5));
        }
        yard.live(&mut steward, yard.day(60), &policy);
        steward.put_away().unwrap();
    }
    let doses = |folder| view(folder).doses(&yard.system.id, yard.day(0), yard.day(60)).unwrap();
    assert_eq!(doses(folder.path()), doses(copy.path()));
    assert!(view(folder.path()).doses(&yard.system.id, yard.day(50), yard.day(54)).unwrap().len() > 2);
    assert_eq!(told(folder.path()), told(copy.path()));
    assert!(snapshots(folder.path()) == snapshots(copy.path()), "what was learnt anew differs");
}

#[test]
fn only_what_cannot_be_used_learns_anew_and_each_is_stored_by_itself() {
    let folder = TempDir::new().unwrap();
    let plans: Vec<_> = (0..60).map(|n| Arc::new(system(&format!("yard-{n}"), &["quince"]))).collect();
    let open = || Steward::open(Ledger::open(folder.path()).unwrap(), &plans, "greywater").unwrap();
    let mut steward = open();
    for step in 0..50 {
        for plan in &plans {
            let (at, topic) = (minute(15 * step), format!("greywater/{}/quince/moisture", plan.id));
            steward.take(at, &topic, format!("0.20{}", step % 3).as_bytes());
        }
        steward.store().unwrap();
    }
    steward.put_away().unwrap();
    drop(steward);
    let remembered = snapshots(folder.path());
    let seqs = || -> BTreeMap<u32, u64> {
        let db = Connection::open(folder.path().join("ledger.db")).unwrap();
        let mut query = db.prepare("SELECT system, seq FROM snapshots").unwrap();
        let rows = query.query_map([], |row| Ok((row.get(0)?, row.get(1)?))).unwrap();
        rows.collect::<Result<_, _>>().unwrap()
    };
    let before = seqs();
    outdate(folder.path());
    let db = Connection::open(folder.path().join("ledger.db")).unwrap();
    for (system, state) in remembered.iter().filter(|(system, _)| *system % 3 == 0) {
        db.execute("UPDATE snapshots SET state = ?2 WHERE system = ?1", (system, state)).unwrap();
    }
    drop(db);
    drop(open());
    assert!(snapshots(folder.path()) == remembered, "all are as they were");
    let after = seqs();
    let stored: Vec<_> = after.iter().filter(|(system, seq)| before[*system] != **seq).collect();
    assert_eq!(stored.len(), 40);
    assert!(stored.iter().all(|(system, _)| **system % 3 != 0));
    let mut commits: Vec<_> = stored.iter().map(|(_, seq)| **seq).collect();
    commits.sort_unstable();
    commits.dedup();
    assert_eq!(commits.len(), 40, "one commit each");
}
