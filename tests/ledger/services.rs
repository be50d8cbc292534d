//! What people find and do: stored once, told to the engine in the same commit, corrected with history.

use std::sync::Arc;

use basinward::alerts::{AlertNo, Closing, Deed, Stage};
use basinward::engine::{Change, Effect, FindingChange, Input};
use basinward::ledger::{
    AlertFilter, Answer, Batch, Ledger, NewPhoto, Order, PHOTOS, PhotoKind, Reply, ServiceDeed,
    ServiceFilter, ServiceOrder, View,
};
use basinward::model::{
    Command, EventTime, Finding, FindingKind, RecordKey, ServiceRecord, Severity, Subject, Work,
};
use basinward::run::Steward;
use tempfile::TempDir;

use crate::told::input;
use crate::yard::{id, minute, system};

const KEY: &str = "0d0c3a526c0e4c7b9a51";

/// A ledger with the system `east`, and its engine.
struct Book {
    folder: TempDir,
    steward: Steward,
}

impl Book {
    fn new() -> Self {
        let folder = TempDir::new().unwrap();
        let plan = Arc::new(system("east", &["quince", "fig"]));
        let ledger = Ledger::open(folder.path()).unwrap();
        let steward = Steward::open(ledger, &[plan], "greywater").unwrap();
        Self { folder, steward }
    }

    /// What somebody says about a finding, as its engine would.
    fn happens(&mut self, change: Change, kind: FindingKind, subject: &Subject, at: EventTime) {
        let finding = Finding {
            kind,
            subject: subject.clone(),
            severity: Severity::Warning,
            probability: 0.9,
            estimate: serde_json::Map::new(),
            evidence: vec![],
        };
        let mut batch = Batch::default();
        let no = self.steward.ledger().enrol([&system("east", &["quince", "fig"])]).unwrap()[0];
        batch.conclude(no, Effect::Finding(FindingChange { change, at, finding }));
        self.steward.ledger().commit(&batch).unwrap();
    }

    /// Sam sends these at `at`, all in one commit.
    fn sam(&mut self, at: EventTime, deeds: &[(&str, ServiceDeed)]) -> Vec<Answer> {
        let mut answers = vec![None; deeds.len()];
        let mut taken = Vec::new();
        for (place, (key, deed)) in deeds.iter().enumerate() {
            let key = RecordKey::new(key).unwrap();
            let order = ServiceOrder { at, by: "sam".into(), system: id("east"), key, deed: deed.clone() };
            match self.steward.order(at, Order::Service(order)) {
                Ok(()) => taken.push(place),
                Err(refused) => answers[place] = Some(Err(refused)),
            }
        }
        let commit = self.steward.store().unwrap();
        for (place, answer) in taken.into_iter().zip(commit.map(|commit| commit.answers).unwrap_or_default())
        {
            answers[place] = Some(answer);
        }
        answers.into_iter().map(Option::unwrap).collect()
    }

    fn view(&self) -> View {
        View::open(self.folder.path()).unwrap()
    }

    /// What the engine was told, in order.
    fn told(self) -> Vec<Command> {
        drop(self.steward);
        let mut ledger = Ledger::open(self.folder.path()).unwrap();
        ledger.enrol([&system("east", &["quince", "fig"])]).unwrap();
        let recovery = ledger.recover().unwrap();
        let mut told = Vec::new();
        ledger
            .replay(&recovery, |lived| {
                if let Input::Command(command) = input(lived).input {
                    told.push(*command);
                }
            })
            .unwrap();
        told
    }
}

fn quince() -> Subject {
    Subject::Basin(id("quince"))
}

fn cleared() -> ServiceRecord {
    let look = ServiceRecord::look(quince(), minute(30));
    ServiceRecord { work: vec![Work::OutletCleared], note: "roots".into(), air_gap_mm: Some(40.0), ..look }
}

fn record(record: &ServiceRecord) -> ServiceDeed {
    ServiceDeed::Record(Box::new(record.clone()))
}

fn correct(replaces: u32, record: &ServiceRecord) -> ServiceDeed {
    ServiceDeed::Correct { replaces, record: Box::new(record.clone()), reason: "measured again".into() }
}

#[test]
fn a_record_that_arrives_again_is_stored_once_and_told_once() {
    let mut book = Book::new();
    let number = |n| vec![Ok(Reply::Number(n)); 1];
    // Twice in one commit, once after it, and once more after a correction.
    let both = book.sam(minute(40), &[(KEY, record(&cleared())), (KEY, record(&cleared()))]);
    assert_eq!(both, [Ok(Reply::Number(1)), Ok(Reply::Number(1))]);
    assert_eq!(book.sam(minute(41), &[(KEY, record(&cleared()))]), number(1));
    let better = ServiceRecord { note: "fig roots".into(), ..cleared() };
    assert_eq!(book.sam(minute(42), &[(KEY, correct(1, &better))]), number(2));
    assert_eq!(book.sam(minute(43), &[(KEY, record(&cleared()))]), number(1));
    assert_eq!(book.sam(minute(43), &[(KEY, correct(1, &better))]), number(2), "a correction as well");
    let other = ServiceRecord { note: "another".into(), ..cleared() };
    let refused = book.sam(minute(44), &[(KEY, record(&other))]).remove(0).unwrap_err();
    assert!(refused.0.contains("has this key already"), "{refused}");
    let listed = book.view().services(&ServiceFilter::default(), 9).unwrap();
    assert_eq!(listed.len(), 1);
    assert_eq!((listed[0].version, &listed[0].record, listed[0].by.as_str()), (2, &better, "sam"));
    assert_eq!(book.told(), cleared().told(), "the engine heard of it once");
}

#[test]
fn a_correction_is_a_new_version_and_tells_the_engine_only_what_is_new() {
    let mut book = Book::new();
    book.sam(minute(40), &[(KEY, record(&cleared()))]);
    let more = ServiceRecord {
        work: vec![Work::OutletCleared, Work::MulchRenewed],
        mulch_left_mm: Some(200.0),
        ..cleared()
    };
    book.sam(minute(41), &[(KEY, correct(1, &more))]);
    let late = book.sam(minute(42), &[(KEY, correct(1, &cleared()))]).remove(0).unwrap_err();
    assert!(late.0.contains("meanwhile"), "{late}");
    let silent = ServiceDeed::Correct { replaces: 2, record: Box::new(cleared()), reason: "  ".into() };
    assert!(book.sam(minute(42), &[(KEY, silent)])[0].is_err(), "a reason is asked for");
    let story = book.view().service(&RecordKey::new(KEY).unwrap()).unwrap().unwrap();
    let versions: Vec<_> = story.versions.iter().map(|v| (v.version, &v.record, v.reason.as_str())).collect();
    assert_eq!(versions, [(1, &cleared(), ""), (2, &more, "measured again")]);
    let told = book.told();
    assert_eq!(told.len(), 2);
    let Command::Serviced(second) = &told[1] else { panic!("{told:?}") };
    assert_eq!((second.work.as_slice(), second.mulch_left_mm), (&[Work::MulchRenewed][..], Some(200.0)));
}

#[test]
fn a_withdrawn_record_counts_no_more_and_stays_readable() {
    let mut book = Book::new();
    book.sam(minute(40), &[(KEY, record(&cleared()))]);
    let last = book.view().last_services().unwrap();
    let seen: Vec<_> = last.iter().map(|it| (&it.subject, it.work, it.at)).collect();
    let quince = quince();
    assert_eq!(seen, [(&quince, None, minute(30)), (&quince, Some(Work::OutletCleared), minute(30))]);
    let withdraw = |replaces| ServiceDeed::Withdraw { replaces, reason: "the wrong basin".into() };
    assert_eq!(book.sam(minute(45), &[(KEY, withdraw(1))]), [Ok(Reply::Number(2))]);
    assert_eq!(book.sam(minute(45), &[(KEY, withdraw(1))]), [Ok(Reply::Number(2))], "once");
    assert!(book.sam(minute(46), &[(KEY, correct(2, &cleared()))])[0].is_err());
    let view = book.view();
    assert_eq!(view.last_services().unwrap(), []);
    assert_eq!(view.services(&ServiceFilter::default(), 9).unwrap(), []);
    let all = view.services(&ServiceFilter { withdrawn: true, ..ServiceFilter::default() }, 9).unwrap();
    assert_eq!((all.len(), all[0].withdrawn, &all[0].record), (1, true, &cleared()));
}

#[test]
fn work_closes_the_alert_that_it_ends_and_says_so_in_its_history() {
    let mut book = Book::new();
    book.happens(Change::Raised, FindingKind::BlockedOutlet, &quince(), minute(5));
    book.happens(Change::Raised, FindingKind::Flooding, &quince(), minute(6));
    book.happens(Change::Raised, FindingKind::BlockedOutlet, &Subject::Basin(id("fig")), minute(7));
    book.sam(minute(40), &[(KEY, record(&cleared()))]);
    let view = book.view();
    let story = view.alert(AlertNo(1)).unwrap().unwrap();
    let Stage::Closed { how: Closing::Dismissed { by, reason }, .. } = &story.alert.stage else {
        panic!("{:?}", story.alert.stage)
    };
    assert_eq!((by.as_str(), reason.as_str()), ("sam", "serviced: outlet cleared"));
    assert!(matches!(story.steps.last().unwrap().deed, Deed::Closed { .. }));
    let standing = AlertFilter { standing: Some(true), ..AlertFilter::default() };
    let left: Vec<_> = view.alerts(&standing, 9).unwrap().iter().map(|alert| alert.no.0).collect();
    assert_eq!(left, [3, 2], "neither the flood, which the floats judge, nor another basin's alert");
    let ended = view.service(&RecordKey::new(KEY).unwrap()).unwrap().unwrap().ended;
    assert_eq!(ended, [AlertNo(1)]);
}

#[test]
fn an_alert_that_cleared_by_itself_remembers_who_did_the_work() {
    let mut book = Book::new();
    book.happens(Change::Raised, FindingKind::BlockedOutlet, &quince(), minute(5));
    book.happens(Change::Cleared, FindingKind::BlockedOutlet, &quince(), minute(35));
    book.sam(minute(40), &[(KEY, record(&cleared()))]);
    let story = book.view().alert(AlertNo(1)).unwrap().unwrap();
    assert!(matches!(story.alert.stage, Stage::Closed { how: Closing::Cleared, .. }));
    let last = story.steps.last().unwrap();
    assert_eq!(last.deed, Deed::Noted { text: "serviced: outlet cleared".into() });
    assert_eq!(last.by.as_deref(), Some("sam"));
}

#[test]
fn an_alert_that_opened_after_the_work_is_not_ended_by_it() {
    let mut book = Book::new();
    book.happens(Change::Raised, FindingKind::BlockedOutlet, &quince(), minute(35));
    book.sam(minute(40), &[(KEY, record(&cleared()))]);
    assert!(book.view().alert(AlertNo(1)).unwrap().unwrap().alert.stage.is_open());
}

#[test]
fn photographs_are_bounded_and_the_same_one_is_kept_once() {
    let mut book = Book::new();
    let photo = |n: usize| {
        let bytes: Arc<[u8]> = vec![n as u8; 10].into();
        ServiceDeed::Photo(NewPhoto { kind: PhotoKind::Jpeg, print: format!("print {n}"), bytes })
    };
    assert!(book.sam(minute(39), &[(KEY, photo(1))])[0].is_err(), "the record comes first");
    book.sam(minute(40), &[(KEY, record(&cleared()))]);
    for n in 1..=PHOTOS {
        assert_eq!(book.sam(minute(41), &[(KEY, photo(n))]), [Ok(Reply::Number(n as u64))]);
    }
    assert_eq!(book.sam(minute(42), &[(KEY, photo(2))]), [Ok(Reply::Number(2))], "again");
    assert!(book.sam(minute(42), &[(KEY, photo(9))])[0].is_err(), "one too many");
    let key = RecordKey::new(KEY).unwrap();
    assert_eq!(book.view().service_photo(&key, 2).unwrap(), Some((PhotoKind::Jpeg, vec![2; 10])));
    assert_eq!(book.view().service(&key).unwrap().unwrap().photos.len(), PHOTOS);
}

#[test]
fn lists_keep_to_systems_times_and_pages() {
    let mut book = Book::new();
    let look = |n: i64| ServiceRecord::look(quince(), minute(n));
    for n in 0..5 {
        book.sam(minute(100), &[(&format!("record-number-{n}-of-five"), record(&look(n)))]);
    }
    let view = book.view();
    let times = |filter: &ServiceFilter| {
        let found = view.services(filter, 2).unwrap();
        let place = found.last().map(|last| (last.record.at, last.no));
        (found.iter().map(|it| it.record.at).collect::<Vec<_>>(), place)
    };
    let (first, place) = times(&ServiceFilter::default());
    assert_eq!(first, [minute(4), minute(3)]);
    assert_eq!(times(&ServiceFilter { after: place, ..ServiceFilter::default() }).0, [minute(2), minute(1)]);
    let within = ServiceFilter { from: Some(minute(1)), to: Some(minute(3)), ..ServiceFilter::default() };
    assert_eq!(times(&within).0, [minute(2), minute(1)]);
    let elsewhere = ServiceFilter { systems: Some(vec![id("west")]), ..ServiceFilter::default() };
    assert_eq!(times(&elsewhere).0, []);
    let about = ServiceFilter { subject: Some(Subject::Source), ..ServiceFilter::default() };
    assert_eq!(times(&about).0, []);
}

#[test]
fn mulch_that_was_renewed_begins_anew_in_the_forecast() {
    let mut book = Book::new();
    // Forty days of two showers each, which both probes feel and the float of quince shows.
    let day = |n: i64| minute(n * 24 * 60);
    let say = |book: &mut Book, at: EventTime, topic: &str, payload: &str| {
        let payload = format!("{{\"value\":{payload},\"time\":{}}}", at.millis());
        book.steward.take(at, &format!("greywater/east/{topic}"), payload.as_bytes());
    };
    let live = |book: &mut Book, days: std::ops::Range<i64>| {
        for n in days {
            for quarter in 0..96 {
                let at = day(n) + basinward::model::Span::from_mins(quarter * 15);
                let since =
                    [30, 78].map(|shower| quarter - shower).into_iter().filter(|since| *since >= 0).min();
                let wet = since.map_or(0.0, |since| 0.1 * (-(since as f64) / 24.0).exp());
                for basin in ["quince", "fig"] {
                    say(book, at, &format!("{basin}/moisture"), &(0.2 + wet).to_string());
                }
                say(book, at, "quince/float", if since == Some(0) { "true" } else { "false" });
            }
            book.steward.tick(day(n + 1));
            book.steward.store().unwrap();
        }
    };
    live(&mut book, 0..40);
    let newest = |book: &Book| {
        let all =
            book.view().forecasts_of(&id("east"), &id("quince"), EventTime::MIN, EventTime::MAX).unwrap();
        all.into_iter().next_back().expect("a forecast")
    };
    let before = newest(&book);
    let renewed = ServiceRecord {
        work: vec![Work::MulchRenewed],
        mulch_found_mm: Some(195.0),
        mulch_left_mm: Some(200.0),
        ..ServiceRecord::look(quince(), day(40))
    };
    assert!(book.sam(day(40), &[(KEY, record(&renewed))])[0].is_ok());
    live(&mut book, 40..43);
    let after = newest(&book);
    assert!(after.made > day(40), "told on the day after the work: {after:?}");
    assert!(before.mulch_left < 1.0 && after.mulch_left > before.mulch_left, "{before:?} {after:?}");
    assert!(after.due > before.due, "{before:?} {after:?}");
}
