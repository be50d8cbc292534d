//! Whatever goes wrong at the other end or here, everything arrives.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use basinward::export::Standing;
use basinward::ledger::RetentionPolicy;
use basinward::model::Span;

use crate::answers::{Answer, Server};
use crate::keeper::Keeper;
use crate::yard::{PROBE, minute, system, take};

/// A ledger with `count` readings in one commit.
fn with_readings(count: i64) -> Keeper {
    let keeper = Keeper::new(system("east", &["quince"]));
    keeper.commit(move |batch, no| {
        (0..count).for_each(|n| take(batch, no, PROBE, minute(n), n as f64 / 100_000.0));
    });
    keeper
}

fn says(standing: &Standing) -> String {
    match standing {
        Standing::Failing { why, .. } => why.clone(),
        Standing::Beginning | Standing::Taking => String::new(),
    }
}

#[tokio::test]
async fn a_busy_broken_or_closing_server_is_asked_again_until_it_takes_everything() {
    let server = Server::new(|request, _| match request {
        1 => Answer::Says(429, r#"{"code":"too many requests","message":"limit reached"}"#),
        3 => Answer::Says(503, "upstream is away"),
        5 => Answer::BreaksOff,
        _ => Answer::Taken,
    });
    let keeper = with_readings(40);
    let mut export = keeper.export(&server.url);
    export.until(|state| state.past >= 1.0 && state.standing == Standing::Taking).await;
    assert_eq!(server.taken().len(), 1 + 40);
    assert_eq!(export.health.borrow().failures, 3);
    let first = &server.requests()[0];
    assert_eq!(first.target, "/api/v2/write?bucket=greywater&org=yards&precision=ms");
    assert_eq!(first.authorization, "Token secret");
    assert!(first.lines.starts_with("export schema=2i,version=\""), "{}", first.lines);
}

#[tokio::test]
async fn a_server_that_never_answers_is_given_up_and_asked_again() {
    let server = Server::new(|request, _| if request == 1 { Answer::Hangs } else { Answer::Taken });
    let keeper = with_readings(40);
    let mut export = keeper.export(&server.url);
    export.until(|state| says(&state.standing).contains("does not answer")).await;
    export.until(|state| state.past >= 1.0).await;
    assert_eq!(server.taken().len(), 1 + 40);
}

#[tokio::test]
async fn an_end_does_not_wait_for_a_server_that_hangs() {
    let server = Server::new(|_, _| Answer::Hangs);
    let keeper = with_readings(1);
    let export = keeper.export(&server.url);
    while server.requests().is_empty() {
        tokio::time::sleep(Duration::from_millis(5)).await;
    }
    tokio::time::timeout(Duration::from_secs(10), export.end()).await.expect("it ends at once");
}

#[tokio::test]
async fn what_only_a_person_can_mend_is_said_in_the_words_of_the_server() {
    for (status, body, says_so) in [
        (401, r#"{"code":"unauthorized","message":"unauthorized access"}"#, "unauthorized access"),
        (
            404,
            r#"{"code":"not found","message":"bucket \"greywater\" not found"}"#,
            "bucket \"greywater\" not found",
        ),
        (200, "<html>Welcome to the guest network</html>", "guest network"),
    ] {
        let server = Server::new(move |_, _| Answer::Says(status, body));
        let keeper = with_readings(3);
        let mut export = keeper.export(&server.url);
        export.until(|state| says(&state.standing).contains(says_so)).await;
        let state = export.health.borrow().clone();
        assert!(says(&state.standing).contains("does not let us write"), "{state:?}");
        assert_eq!((state.commit, state.lines, state.refused), (0, 0, 0));
    }
}

#[tokio::test]
async fn the_past_goes_on_where_it_stopped_and_what_comes_in_meanwhile_is_not_lost() {
    let broken = Arc::new(AtomicBool::new(false));
    let server = Server::new({
        let broken = Arc::clone(&broken);
        move |request, _| {
            // The greeting and two pages of the past, then nothing more until it is mended.
            if request < 3 || broken.load(Ordering::Relaxed) { Answer::Taken } else { Answer::Says(503, "") }
        }
    });
    let keeper = with_readings(17_000);
    let mut export = keeper.export(&server.url);
    export.until(|state| state.failures > 0).await;
    export.end().await;
    let before = server.requests().len();
    keeper.commit(|batch, no| take(batch, no, PROBE, minute(20_000), 0.5));
    broken.store(true, Ordering::Relaxed);
    let mut export = keeper.export(&server.url);
    export.until(|state| state.past >= 1.0).await;
    assert_eq!(
        server.taken().len(),
        2 + 17_000 + 1,
        "a greeting for each start, the past, and what came between"
    );
    let again: usize = server.requests()[before..].iter().map(|request| request.lines.lines().count()).sum();
    // What came in between belongs to the past as well by the time that the past gets there.
    assert_eq!(again, 1 + 7_000 + 2, "the two pages that had arrived are not sent again");
}

#[tokio::test]
async fn a_reader_that_fell_behind_the_journal_begins_anew_with_the_past() {
    let server = Server::new(|_, _| Answer::Taken);
    let keeper = with_readings(10);
    let mut export = keeper.export(&server.url);
    export.until(|state| state.past >= 1.0).await;
    export.end().await;
    for n in 100..120 {
        keeper.commit(move |batch, no| {
            take(batch, no, PROBE, minute(n), 0.25);
            batch.save(no, b"an engine that needs no journal".to_vec());
        });
    }
    let policy = RetentionPolicy { journal_days: 1, ..RetentionPolicy::default() };
    let trimmed =
        keeper.with_ledger(move |ledger, _| ledger.retain(minute(120) + Span::from_days(3), &policy));
    assert!(trimmed.unwrap().trimmed > 10);
    let mut export = keeper.export(&server.url);
    export.until(|state| state.past >= 1.0).await;
    let readings = server.taken().into_iter().filter(|line| line.starts_with("reading")).count();
    assert_eq!(readings, 10 + 20);
}

#[tokio::test]
async fn of_readings_that_contradict_each_other_the_one_that_was_kept_is_passed_on() {
    let server = Server::new(|_, _| Answer::Taken);
    let keeper = with_readings(0);
    let mut export = keeper.export(&server.url);
    export.until(|state| state.past >= 1.0).await;
    keeper.commit(|batch, no| take(batch, no, PROBE, minute(1), 0.25));
    keeper.commit(|batch, no| take(batch, no, PROBE, minute(1), 0.75));
    export.until(|state| state.commit >= 3).await;
    let readings: Vec<_> = server.taken().into_iter().filter(|line| line.starts_with("reading")).collect();
    assert_eq!(readings.len(), 1, "{readings:?}");
    assert!(readings[0].contains("value=0.25 "), "{readings:?}");
}
