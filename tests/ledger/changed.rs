//! Plans that are changed while nothing runs: after a crash engines go through their journal again by the changed plan,
//! and what they believe then is told, once.

use std::sync::Arc;

use basinward::ledger::{AlertFilter, Ledger, View};
use basinward::model::{FindingKind, Span, System, SystemParts};
use basinward::run::Steward;
use tempfile::TempDir;

use crate::yard::{minute, system};

/// A yard of one basin in which water is a flood after `hours`.
fn plan(hours: i64) -> Arc<System> {
    let plain = system("east", &["quince"]);
    let mut parts = SystemParts::clone(&plain);
    parts.basins[0].flood_hold = Some(Span::from_hours(hours));
    Arc::new(System::new(parts, plain.tree().clone()))
}

fn open(folder: &TempDir, hours: i64) -> Steward {
    let mut steward =
        Steward::open(Ledger::open(folder.path()).unwrap(), &[plan(hours)], "greywater").unwrap();
    steward.store().unwrap();
    steward
}

/// Water stands for eight hours, and a gateway tells of it all at once; the process ends without a farewell, and before
/// any memory is stored.
fn stand(mut steward: Steward) {
    for quarter in 0..=32 {
        let say = format!("{{\"value\":true,\"time\":{}}}", minute(15 * quarter).millis());
        steward.take(minute(480), "greywater/east/quince/float", say.as_bytes());
    }
    steward.store().unwrap();
}

fn floods(folder: &TempDir) -> (usize, u64) {
    let view = View::open(folder.path()).unwrap();
    let open = view.findings_open().unwrap().into_iter();
    let floods = open.filter(|open| open.finding.kind == FindingKind::Flooding).count();
    (floods, view.last_effect().unwrap())
}

#[test]
fn what_stands_by_a_changed_plan_is_told_once() {
    let folder = TempDir::new().unwrap();
    stand(open(&folder, 20));
    assert_eq!(floods(&folder).0, 0, "by the plan in force it is none");
    drop(open(&folder, 2));
    let told = floods(&folder);
    assert_eq!(told.0, 1);
    for _ in 0..2 {
        drop(open(&folder, 2));
        assert_eq!(floods(&folder), told, "once");
    }
}

#[test]
fn what_no_longer_stands_by_a_changed_plan_is_taken_back_once_and_says_why() {
    let folder = TempDir::new().unwrap();
    stand(open(&folder, 2));
    let before = floods(&folder);
    assert_eq!(before.0, 1);
    drop(open(&folder, 2));
    assert_eq!(floods(&folder), before, "the same plan changes nothing");
    drop(open(&folder, 20));
    let told = floods(&folder);
    assert_eq!(told, (0, before.1 + 2), "the flood is taken back, and told as the pond that it still is");
    drop(open(&folder, 20));
    assert_eq!(floods(&folder), told, "once");
    let view = View::open(folder.path()).unwrap();
    let alerts = view.alerts(&AlertFilter::default(), 9).unwrap();
    let flood = alerts.iter().find(|alert| alert.finding.kind == FindingKind::Flooding).unwrap();
    let why = &flood.finding.evidence.last().unwrap().says;
    assert!(flood.stage.is_closed() && why.contains("by the changed plan this does not stand"), "{why}");
}
