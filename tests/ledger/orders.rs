//! What people and readers outside ask for, through the one writer.

use std::sync::Arc;
use std::sync::atomic::{AtomicU32, Ordering};

use basinward::alerts::{Act, AlertNo};
use basinward::engine::Input;
use basinward::flowtest::Method;
use basinward::ledger::{
    AlertOrder, AlertWork, Batch, Ledger, Order, Orders, PeopleOrder, PersonNo, Position, Reply, TestDeed,
    TestOrder, View,
};
use basinward::model::{Command, RecordKey};
use basinward::run::Steward;

use crate::told::input;
use crate::yard::{id, minute, system};

fn of_a_test(system: &str, at: i64, deed: TestDeed) -> Order {
    let key = RecordKey::new("first-test-of-this-yard").unwrap();
    Order::Test(TestOrder { at: minute(at), by: "sam".into(), system: id(system), key, deed })
}

#[test]
fn what_an_engine_is_told_comes_back_from_the_journal() {
    let folder = tempfile::tempdir().unwrap();
    let plan = Arc::new(system("east", &["quince", "fig"]));
    {
        let ledger = Ledger::open(folder.path()).unwrap();
        let mut steward = Steward::open(ledger, &[Arc::clone(&plan)], "greywater").unwrap();
        let over = |system: &str| of_a_test(system, 5, TestDeed::RunOver);
        assert!(steward.order(minute(6), over("west")).unwrap_err().to_string().contains("west"));
        let begin = TestDeed::Begin { method: Method::Probes, litres: None, note: String::new() };
        steward.order(minute(1), of_a_test("east", 1, begin)).unwrap();
        steward.order(minute(6), over("east")).unwrap();
        assert_eq!(steward.store().unwrap().unwrap().answers, [Ok(Reply::Done), Ok(Reply::Done)]);
    }
    let mut ledger = Ledger::open(folder.path()).unwrap();
    ledger.enrol([&*plan]).unwrap();
    let mut inputs = Vec::new();
    let recovery = ledger.recover().unwrap();
    ledger.replay(&recovery, |lived| inputs.push(input(lived))).unwrap();
    let inputs: Vec<_> = inputs.into_iter().map(|entry| (entry.received, entry.input)).collect();
    assert_eq!(inputs, [(minute(6), Input::Command(Box::new(Command::RunEnded { at: minute(5) })))]);
}

#[test]
fn a_reader_that_says_how_far_it_has_come_is_believed_once_and_never_goes_back() {
    let folder = tempfile::tempdir().unwrap();
    let mut ledger = Ledger::open(folder.path()).unwrap();
    for reached in [7, 3] {
        let mut batch = Batch::default();
        batch.order(Order::Reached { cursor: "pages".to_owned(), position: Position::Effects(reached) });
        assert_eq!(ledger.commit(&batch).unwrap().answers, [Ok(Reply::Done)]);
    }
    let view = basinward::ledger::View::open(folder.path()).unwrap();
    assert_eq!(view.effects_cursor("pages").unwrap(), 7);
}

/// Whoever asks may name any number, larger than the ledger can write.
#[test]
fn an_order_with_an_impossible_number_is_refused_and_stops_nobody() {
    let folder = tempfile::tempdir().unwrap();
    let mut ledger = Ledger::open(folder.path()).unwrap();
    let mut batch = Batch::default();
    for key in [u64::MAX, 1 << 63] {
        batch.order(Order::People(PeopleOrder::RevokeKey { person: PersonNo(key), key }));
        let alert = AlertNo(key);
        let work = AlertWork::Step { alert, act: Act::Acknowledge };
        batch.order(Order::Alert(AlertOrder { at: minute(1), by: None, work }));
        batch.order(Order::Reached { cursor: "far".to_owned(), position: Position::Effects(key) });
    }
    batch.order(Order::Reached { cursor: "pages".to_owned(), position: Position::Effects(7) });
    let answers = ledger.commit(&batch).unwrap().answers;
    assert!(answers[..6].iter().all(Result::is_err), "{answers:?}");
    assert_eq!(answers[6], Ok(Reply::Done));
    assert_eq!(View::open(folder.path()).unwrap().effects_cursor("pages").unwrap(), 7);
}

#[tokio::test]
async fn an_answer_comes_after_the_writer_was_woken_and_an_ending_writer_says_so() {
    let woken = Arc::new(AtomicU32::new(0));
    let (orders, queue) = Orders::new({
        let woken = Arc::clone(&woken);
        move || {
            woken.fetch_add(1, Ordering::Relaxed);
        }
    });
    let order = Order::Reached { cursor: "pages".to_owned(), position: Position::Effects(1) };
    let placed = tokio::spawn({
        let (orders, order) = (orders.clone(), order.clone());
        async move { orders.place(order).await }
    });
    while woken.load(Ordering::Relaxed) == 0 {
        tokio::task::yield_now().await;
    }
    queue.waiting().for_each(|asked| asked.answer(Ok(Reply::Number(4))));
    assert_eq!(placed.await.unwrap(), Ok(Reply::Number(4)));
    drop(queue);
    assert!(orders.place(order).await.unwrap_err().to_string().contains("ending"));
}
