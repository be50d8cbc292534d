//! Lines that a server refuses hold up nothing, and are kept where people see them.

use basinward::export::Standing;

use crate::answers::{Answer, Server};
use crate::keeper::Keeper;
use crate::yard::{PROBE, minute, system, take};

/// The words of InfluxDB 2 for a line that it cannot read.
const UNREADABLE: &str = r#"{"code":"invalid","message":"unable to parse 'reading': missing field value"}"#;
/// Those for points that it dropped while it took the rest.
const DROPPED: &str = r#"{"code":"unprocessable entity","message":"failure writing points to database: partial write: points beyond retention policy dropped=300"}"#;

/// A ledger with one reading a minute, `value` thousandths.
fn with_readings(values: std::ops::Range<i64>) -> Keeper {
    let keeper = Keeper::new(system("east", &["quince"]));
    keeper.commit(move |batch, no| {
        values.for_each(|n| take(batch, no, PROBE, minute(n), n as f64 / 1000.0));
    });
    keeper
}

#[tokio::test]
async fn of_many_lines_only_the_refused_one_is_set_apart() {
    let server = Server::new(|_, request| {
        if request.lines.contains("value=0.266 ") { Answer::Says(400, UNREADABLE) } else { Answer::Taken }
    });
    let keeper = with_readings(0..700);
    let mut export = keeper.export(&server.url);
    export.until(|state| state.past >= 1.0).await;
    assert_eq!(server.taken().len(), 1 + 699, "the greeting, and all readings but one");
    let rejected = keeper.view().rejected_lines().unwrap();
    assert_eq!(rejected.len(), 1);
    assert!(rejected[0].line.contains("value=0.266 "), "{rejected:?}");
    assert!(rejected[0].why.contains("missing field value"), "{rejected:?}");
    let state = export.health.borrow().clone();
    assert_eq!((state.refused, state.lines, state.standing), (1, 699, Standing::Taking));
}

#[tokio::test]
async fn lines_that_the_server_dropped_by_itself_are_counted_and_not_asked_for_one_by_one() {
    let server = Server::new(|_, request| {
        if request.lines.lines().count() > 1 { Answer::Says(422, DROPPED) } else { Answer::Taken }
    });
    let keeper = with_readings(0..700);
    let mut export = keeper.export(&server.url);
    export.until(|state| state.past >= 1.0).await;
    let state = export.health.borrow().clone();
    assert_eq!((state.refused, state.lines), (300, 400));
    assert_eq!(server.requests().len(), 2, "the greeting and one write");
    assert_eq!(keeper.view().rejected_lines().unwrap().len(), 1, "one stands for them all");
}

#[tokio::test]
async fn a_server_that_refuses_everything_is_not_believed() {
    let server =
        Server::new(|request, _| if request < 2 { Answer::Taken } else { Answer::Says(400, UNREADABLE) });
    let keeper = with_readings(0..1);
    let mut export = keeper.export(&server.url);
    export.until(|state| state.past >= 1.0).await;
    keeper.commit(|batch, no| take(batch, no, PROBE, minute(9), 0.5));
    export.until(|state| matches!(state.standing, Standing::Failing { .. })).await;
    let state = export.health.borrow().clone();
    let Standing::Failing { why, .. } = &state.standing else { panic!("{state:?}") };
    assert!(why.contains("refuses every line") && why.contains("missing field value"), "{why}");
    assert_eq!(state.refused, 0, "nothing is given up");
    assert_eq!(keeper.view().rejected_lines().unwrap(), []);
}

#[tokio::test]
async fn a_server_that_takes_less_at_once_gets_less_at_once() {
    let server =
        Server::new(
            |_, request| {
                if request.lines.lines().count() > 100 { Answer::Says(413, "") } else { Answer::Taken }
            },
        );
    let keeper = with_readings(0..700);
    let mut export = keeper.export(&server.url);
    export.until(|state| state.past >= 1.0).await;
    assert_eq!(server.taken().len(), 1 + 700);
    assert_eq!(export.health.borrow().refused, 0);
}
