//! Alerts follow the findings in the same commit.

use basinward::alerts::{Act, AlertNo, Closing, Deed, Stage, Why};
use basinward::engine::{Change, Effect, FindingChange};
use basinward::ledger::{
    AlertFilter, AlertOrder, AlertWork, Answer, Batch, DeliveryState, Ledger, Muting, NewNotice, NoticeOrder,
    Order, Outcome, RetentionPolicy, SystemNo, View,
};
use basinward::model::{EventTime, Finding, FindingKind, Severity, Span, Subject};
use tempfile::TempDir;

use crate::yard::{id, minute, system};

/// A ledger with the system `east`, and what happens to it.
struct Book {
    folder: TempDir,
    ledger: Ledger,
    east: SystemNo,
}

impl Book {
    fn new() -> Self {
        let folder = TempDir::new().unwrap();
        let mut ledger = Ledger::open(folder.path()).unwrap();
        let east = ledger.enrol([&system("east", &["quince", "fig"])]).unwrap()[0];
        Self { folder, ledger, east }
    }

    fn happens(&mut self, changes: &[(Change, FindingKind, Subject, Severity, EventTime)]) {
        let mut batch = Batch::default();
        for (change, kind, subject, severity, at) in changes {
            let finding = Finding {
                kind: *kind,
                subject: subject.clone(),
                severity: *severity,
                probability: 0.9,
                estimate: serde_json::Map::new(),
                evidence: vec![],
            };
            batch.conclude(self.east, Effect::Finding(FindingChange { change: *change, at: *at, finding }));
        }
        self.ledger.commit(&batch).unwrap();
    }

    /// Ana does something at `at`.
    fn ana(&mut self, at: EventTime, work: AlertWork) -> Answer {
        let mut batch = Batch::default();
        batch.order(Order::Alert(AlertOrder { at, by: Some("ana".to_owned()), work }));
        self.ledger.commit(&batch).unwrap().answers.remove(0)
    }

    /// Ana is told of alert `no` by one channel.
    fn tell(&mut self, no: u64, at: EventTime) {
        let notice = NewNotice {
            recipient: "ana".to_owned(),
            why: Why::Opened,
            channels: vec!["mail".to_owned()],
            tells: vec![(AlertNo(no), 1)],
            over: vec![],
            body: "{}".to_owned(),
        };
        self.order(NoticeOrder::Tell { at, notices: vec![notice], let_rest: vec![] });
    }

    fn order(&mut self, order: NoticeOrder) {
        let mut batch = Batch::default();
        batch.order(Order::Notice(order));
        self.ledger.commit(&batch).unwrap().answers.remove(0).unwrap();
    }

    fn sent(&self, no: u64) -> Vec<DeliveryState> {
        let story = self.view().alert(AlertNo(no)).unwrap().unwrap();
        story.sent.into_iter().map(|sent| sent.state).collect()
    }

    fn view(&self) -> View {
        View::open(self.folder.path()).unwrap()
    }

    fn deeds(&self, no: u64) -> Vec<Deed> {
        let story = self.view().alert(AlertNo(no)).unwrap().unwrap();
        story.steps.into_iter().map(|step| step.deed).collect()
    }
}

fn quince() -> Subject {
    Subject::Basin(id("quince"))
}

#[test]
fn an_alert_opens_worsens_and_closes_with_its_finding() {
    let mut book = Book::new();
    let ponding = |change, severity, at| (change, FindingKind::Ponding, quince(), severity, at);
    book.happens(&[ponding(Change::Raised, Severity::Warning, minute(1))]);
    book.happens(&[ponding(Change::Updated, Severity::Critical, minute(5))]);
    let standing =
        book.view().alerts(&AlertFilter { standing: Some(true), ..AlertFilter::default() }, 9).unwrap();
    assert_eq!(standing.len(), 1);
    assert_eq!((standing[0].calls, standing[0].finding.severity), (2, Severity::Critical));
    book.happens(&[ponding(Change::Cleared, Severity::Critical, minute(9))]);
    let all = book.view().alerts(&AlertFilter::default(), 9).unwrap();
    assert_eq!(all[0].stage, Stage::Closed { at: minute(9), how: Closing::Cleared });
    assert_eq!(book.deeds(1), [Deed::Opened, Deed::Worsened { to: Severity::Critical }, Deed::Cleared]);
}

#[test]
fn what_returns_within_a_day_is_the_same_alert_and_later_another() {
    let mut book = Book::new();
    let ponding = |change, at| (change, FindingKind::Ponding, quince(), Severity::Warning, at);
    book.happens(&[ponding(Change::Raised, minute(0)), ponding(Change::Cleared, minute(10))]);
    book.happens(&[ponding(Change::Raised, minute(60)), ponding(Change::Cleared, minute(70))]);
    assert_eq!(book.deeds(1), [Deed::Opened, Deed::Cleared, Deed::Returned, Deed::Cleared]);
    book.happens(&[ponding(Change::Raised, minute(70 + 24 * 60 + 1))]);
    assert_eq!(book.view().alerts(&AlertFilter::default(), 9).unwrap().len(), 2);
    assert_eq!(book.deeds(2), [Deed::Opened]);
}

#[test]
fn how_soon_an_alert_returns_is_a_setting() {
    let mut book = Book::new();
    book.ledger.let_alerts_return_within(Span::from_hours(2));
    let ponding = |change, at| (change, FindingKind::Ponding, quince(), Severity::Warning, at);
    book.happens(&[ponding(Change::Raised, minute(0)), ponding(Change::Cleared, minute(10))]);
    book.happens(&[ponding(Change::Raised, minute(130)), ponding(Change::Cleared, minute(140))]);
    book.happens(&[ponding(Change::Raised, minute(261))]);
    assert_eq!(book.deeds(1), [Deed::Opened, Deed::Cleared, Deed::Returned, Deed::Cleared]);
    assert_eq!(book.deeds(2), [Deed::Opened]);
}

#[test]
fn messages_are_kept_as_long_as_they_wait_or_their_alert_stands_and_then_for_their_time() {
    let mut book = Book::new();
    let ponding = |change, at| (change, FindingKind::Ponding, quince(), Severity::Warning, at);
    book.happens(&[ponding(Change::Raised, minute(0))]);
    book.tell(1, minute(1));
    book.tell(1, minute(2));
    let policy = RetentionPolicy { message_days: 40, ..RetentionPolicy::default() };
    let retain = |book: &mut Book, days: i64| {
        book.ledger.retain(minute(0) + Span::from_days(days), &policy).unwrap().forgotten
    };
    let confirmed = |delivery| NoticeOrder::Tried { at: minute(3), delivery, outcome: Outcome::Confirmed };
    book.order(confirmed(1));
    assert_eq!(retain(&mut book, 42), 0, "the alert stands");
    book.happens(&[ponding(Change::Cleared, minute(10))]);
    assert_eq!(retain(&mut book, 40), 0, "their time is not up");
    assert_eq!(retain(&mut book, 42), 1, "the second still waits");
    assert_eq!(book.sent(1), [DeliveryState::Waiting { trouble: None }]);
    book.order(confirmed(2));
    assert_eq!((retain(&mut book, 42), retain(&mut book, 42)), (1, 0));
    assert_eq!(book.sent(1), []);
    assert_eq!(book.deeds(1), [Deed::Opened, Deed::Cleared], "the alert and its history stay");
    book.view().check().unwrap();
}

#[test]
fn a_consequence_is_folded_under_its_cause_and_stands_alone_when_the_cause_is_over() {
    let mut book = Book::new();
    let warn = |change, kind, at| (change, kind, quince(), Severity::Warning, at);
    book.happens(&[warn(Change::Raised, FindingKind::NoWater, minute(0))]);
    book.happens(&[warn(Change::Raised, FindingKind::BlockedOutlet, minute(5))]);
    let causes = AlertFilter { causes_only: true, standing: Some(true), ..AlertFilter::default() };
    let listed = book.view().alerts(&causes, 9).unwrap();
    assert_eq!(listed.len(), 1);
    assert_eq!((listed[0].finding.kind, listed[0].folded), (FindingKind::BlockedOutlet, 1));
    book.happens(&[warn(Change::Cleared, FindingKind::BlockedOutlet, minute(30))]);
    let listed = book.view().alerts(&causes, 9).unwrap();
    assert_eq!((listed.len(), listed[0].finding.kind), (1, FindingKind::NoWater));
    assert_eq!(book.deeds(1), [Deed::Opened, Deed::Folded { under: AlertNo(2) }, Deed::Unfolded]);
}

#[test]
fn what_stood_before_there_were_alerts_becomes_one() {
    let old = include_str!("../ledger_formats/1.sql");
    let folder = TempDir::new().unwrap();
    rusqlite::Connection::open(folder.path().join("ledger.db")).unwrap().execute_batch(old).unwrap();
    drop(Ledger::open(folder.path()).unwrap());
    let view = View::open(folder.path()).unwrap();
    let (findings, alerts) =
        (view.findings_open().unwrap(), view.alerts(&AlertFilter::default(), 9).unwrap());
    assert_eq!(alerts.len(), 1);
    assert_eq!((&alerts[0].finding, &alerts[0].opened_at), (&findings[0].finding, &findings[0].raised_at));
    assert_eq!(alerts[0].stage, Stage::Open { since: findings[0].raised_at });
}

#[test]
fn a_person_takes_steps_that_stay_in_the_history_with_who_and_when() {
    let mut book = Book::new();
    let ponding = |change, at| (change, FindingKind::Ponding, quince(), Severity::Warning, at);
    book.happens(&[ponding(Change::Raised, minute(0))]);
    let step = |act| AlertWork::Step { alert: AlertNo(1), act };
    book.ana(minute(3), step(Act::Acknowledge)).unwrap();
    book.ana(minute(4), step(Act::Note { text: "on my way".to_owned() })).unwrap();
    book.ana(minute(5), step(Act::Snooze { until: minute(50) })).unwrap();
    assert!(book.ana(minute(6), step(Act::Close { reason: " ".to_owned() })).is_err());
    assert!(book.ana(minute(6), step(Act::Clear)).is_err(), "findings clear, people close");
    book.ana(minute(7), step(Act::Close { reason: "a hose".to_owned() })).unwrap();
    let story = book.view().alert(AlertNo(1)).unwrap().unwrap();
    let told: Vec<_> = story.steps.iter().map(|step| (step.at, step.by.as_deref())).collect();
    assert_eq!(told[0], (minute(0), None));
    assert_eq!(told[1..], [3, 4, 5, 7].map(|m| (minute(m), Some("ana"))));
    assert!(story.alert.stage.is_closed());
    assert!(book.ana(minute(8), AlertWork::Step { alert: AlertNo(9), act: Act::Acknowledge }).is_err());
}

#[test]
fn acknowledging_a_cause_acknowledges_its_consequences() {
    let mut book = Book::new();
    let warn = |change, kind, at| (change, kind, quince(), Severity::Warning, at);
    book.happens(&[
        warn(Change::Raised, FindingKind::NoWater, minute(0)),
        warn(Change::Raised, FindingKind::BlockedOutlet, minute(0)),
    ]);
    book.ana(minute(1), AlertWork::Step { alert: AlertNo(2), act: Act::Acknowledge }).unwrap();
    let consequence = book.view().alert(AlertNo(1)).unwrap().unwrap();
    assert_eq!(consequence.alert.stage, Stage::Acknowledged { at: minute(1), by: "ana".to_owned() });
}

#[test]
fn the_link_of_a_message_works_once() {
    let mut book = Book::new();
    book.happens(&[(Change::Raised, FindingKind::Ponding, quince(), Severity::Warning, minute(0))]);
    let follow = || AlertWork::Follow { pass: "one".to_owned(), alert: AlertNo(1) };
    book.ana(minute(1), follow()).unwrap();
    assert!(book.ana(minute(2), follow()).unwrap_err().to_string().contains("used before"));
    assert_eq!(book.deeds(1), [Deed::Opened, Deed::Acknowledged]);
}

#[test]
fn a_muted_system_is_listed_until_its_time_is_up_or_the_work_is_done() {
    let mut book = Book::new();
    let mute = |until| AlertWork::Mute(Muting { system: id("east"), until, reason: "new mulch".to_owned() });
    assert!(book.ana(minute(0), mute(minute(0))).is_err());
    assert!(book.ana(minute(0), mute(minute(13 * 60))).is_err(), "12 hours at most");
    book.ana(minute(0), mute(minute(90))).unwrap();
    let muted = book.view().muted(minute(89)).unwrap();
    assert_eq!((muted[0].since, muted[0].until, muted[0].by.as_str()), (minute(0), minute(90), "ana"));
    assert_eq!(book.view().muted(minute(90)).unwrap(), []);
    book.ana(minute(30), AlertWork::Unmute { system: id("east") }).unwrap();
    assert_eq!(book.view().muted(minute(30)).unwrap(), []);
}
