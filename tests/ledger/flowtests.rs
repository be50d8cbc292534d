//! Flow tests: one at a time, filled and ended once, kept as proof.

use std::collections::BTreeMap;

use basinward::flowtest::{Caught, Method, Outcome, Run, judge};
use basinward::ledger::{Answer, Batch, Ledger, Order, TestDeed, TestOrder, View};
use basinward::model::{EventTime, Id, RecordKey};
use tempfile::TempDir;

use crate::yard::{id, minute, system};

const FIRST: &str = "first-test-of-this-yard";
const SECOND: &str = "second-test-of-this-yard";

fn key(text: &str) -> RecordKey {
    RecordKey::new(text).unwrap()
}

fn buckets(quince: f64, fig: f64) -> BTreeMap<Id, Caught> {
    let caught = |litres| Caught { litres, mark_litres: 0.1 };
    BTreeMap::from([(id("quince"), caught(quince)), (id("fig"), caught(fig))])
}

#[test]
fn a_test_runs_alone_takes_each_run_once_and_ends_once() {
    let folder = TempDir::new().unwrap();
    let mut ledger = Ledger::open(folder.path()).unwrap();
    let east = system("east", &["quince", "fig"]);
    ledger.enrol([&east]).unwrap();
    let mut ask = |minutes: i64, test: &str, deed: TestDeed| -> Answer {
        let mut batch = Batch::default();
        let order =
            TestOrder { at: minute(minutes), by: "sam".into(), system: id("east"), key: key(test), deed };
        batch.order(Order::Test(order));
        ledger.commit(&batch).unwrap().answers.remove(0)
    };
    let begin =
        TestDeed::Begin { method: Method::Buckets, litres: Some(20.0), note: "after levelling".into() };
    let caught = |run: &str, caught| TestDeed::Catch { run: key(run), caught };
    assert!(ask(0, FIRST, caught("the-first-run-of-it", buckets(5.0, 5.0))).is_err(), "it has not begun");
    assert!(ask(1, FIRST, begin.clone()).is_ok() && ask(2, FIRST, begin.clone()).is_ok(), "once");
    let both = ask(3, SECOND, begin.clone()).unwrap_err();
    assert!(both.0.contains("running already"), "{both}");
    for _ in 0..2 {
        assert!(ask(4, FIRST, caught("the-first-run-of-it", buckets(5.2, 4.9))).is_ok());
    }
    let run = Run::by_buckets(&east, minute(4), &buckets(5.2, 4.9)).unwrap();
    let outcome = judge(&east, &[run]);
    let finish = |outcome: &Outcome| TestDeed::Finish { outcome: outcome.clone() };
    assert!(ask(5, FIRST, finish(&outcome)).is_ok());
    assert!(
        ask(6, FIRST, finish(&outcome)).is_err() && ask(6, FIRST, TestDeed::GiveUp).is_err(),
        "it is over"
    );
    assert!(ask(6, FIRST, caught("one-more-run-too-late", buckets(1.0, 2.0))).is_err());
    assert!(ask(7, SECOND, begin).is_ok() && ask(7, SECOND, TestDeed::RunOver).is_ok());
    assert!(ask(8, SECOND, TestDeed::GiveUp).is_ok());
    assert!(ask(9, SECOND, TestDeed::RunOver).is_err(), "it is over");
    let view = View::open(folder.path()).unwrap();
    let tests = view.flow_tests(&id("east"), EventTime::MIN, EventTime::MAX, 9).unwrap();
    assert_eq!(tests.len(), 2);
    assert_eq!((tests[0].key.as_str(), &tests[0].outcome), (SECOND, &None), "newest first, given up");
    assert_eq!(tests[0].run_ends, [(minute(7), "sam".into())]);
    let first = view.flow_test(&key(FIRST)).unwrap().unwrap();
    assert_eq!((first.began, first.ended), (minute(1), Some((minute(5), "sam".into()))));
    assert_eq!((first.runs, first.outcome), (vec![(minute(4), buckets(5.2, 4.9))], Some(outcome)));
}

#[test]
fn a_run_is_news_while_its_test_is_under_way_and_only_until_it_is_kept() {
    let folder = TempDir::new().unwrap();
    let mut ledger = Ledger::open(folder.path()).unwrap();
    ledger.enrol([&system("east", &["quince", "fig"])]).unwrap();
    let order =
        |deed| TestOrder { at: minute(1), by: "sam".into(), system: id("east"), key: key(FIRST), deed };
    let run = |name: &str| TestDeed::Catch { run: key(name), caught: buckets(5.0, 5.0) };
    let commit = |ledger: &mut Ledger, deed| {
        let mut batch = Batch::default();
        batch.order(Order::Test(order(deed)));
        ledger.commit(&batch).unwrap();
    };
    let is_new = |ledger: &Ledger, name| ledger.is_new_run(&order(run(name)), &key(name)).unwrap();
    assert!(!is_new(&ledger, "the-first-run-of-it"), "no test has begun");
    let begin = TestDeed::Begin { method: Method::Buckets, litres: None, note: String::new() };
    commit(&mut ledger, begin);
    assert!(is_new(&ledger, "the-first-run-of-it"));
    commit(&mut ledger, run("the-first-run-of-it"));
    assert!(!is_new(&ledger, "the-first-run-of-it") && is_new(&ledger, "another-run-of-it"));
    commit(&mut ledger, TestDeed::GiveUp);
    assert!(!is_new(&ledger, "another-run-of-it"), "the test is over");
}
