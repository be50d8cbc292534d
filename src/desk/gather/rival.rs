//! Alerts about the same signs: one was over in the minute in which the other, which explains them better, was raised.

use super::finding::below;
use crate::advice::{headline, headline_past, separating_check};
use crate::alerts::{Closing, Stage};
use crate::desk::sheet::RivalRow;
use crate::desk::words;
use crate::ledger::StoredAlert;
use crate::model::{EventTime, Span, System};

/// A finding gives way in the step in which the other is raised; clocks of sensors may lie a little apart.
const AT_ONCE: Span = Span::MINUTE;

/// An alert that explains the same signs, and what tells the two apart.
pub(super) struct Rival {
    pub(super) row: RivalRow,
    pub(super) check: Option<&'static str>,
}

/// Those of `others` that `alert` gave way to, or that gave way to it.
pub(super) fn rivals(
    system: &System,
    alert: &StoredAlert,
    others: &[StoredAlert],
    now: EventTime,
) -> Vec<Rival> {
    let when = |at| words::moment(at, now, &system.zone);
    let told = |other: &StoredAlert| {
        let check = separating_check(alert.finding.kind, other.finding.kind)?;
        let same_water =
            !below(system, &alert.finding.subject).is_disjoint(&below(system, &other.finding.subject));
        if other.no == alert.no || other.system != alert.system || !same_water {
            return None;
        }
        let (better, at) = if gave_way(alert, other) {
            (true, other.opened_at)
        } else if gave_way(other, alert) {
            (false, cleared(other)?)
        } else {
            return None;
        };
        let is_over = matches!(other.stage, Stage::Closed { how: Closing::Cleared, .. });
        let headline = if is_over { headline_past } else { headline };
        let row = RivalRow { no: other.no, headline: headline(&other.finding, system), better, at: when(at) };
        Some(Rival { row, check: Some(check) })
    };
    others.iter().filter_map(told).collect()
}

/// Whether `before` was over when `after` was raised.
fn gave_way(before: &StoredAlert, after: &StoredAlert) -> bool {
    cleared(before).is_some_and(|at| at - AT_ONCE <= after.opened_at && after.opened_at <= at + AT_ONCE)
        && before.opened_at < after.opened_at
}

fn cleared(alert: &StoredAlert) -> Option<EventTime> {
    match alert.stage {
        Stage::Closed { at, how: Closing::Cleared } => Some(at),
        Stage::Open { .. }
        | Stage::Acknowledged { .. }
        | Stage::Snoozed { .. }
        | Stage::Closed { how: Closing::Dismissed { .. }, .. } => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::alerts::AlertNo;
    use crate::desk::samples;
    use crate::model::{Finding, FindingKind, Id, Severity, Subject};

    fn alert(
        no: u64,
        (kind, subject): (FindingKind, Subject),
        opened: &str,
        over: Option<&str>,
    ) -> StoredAlert {
        let opened_at: EventTime = opened.parse().unwrap();
        let stage = over.map_or(Stage::Open { since: opened_at }, |at| Stage::Closed {
            at: at.parse().unwrap(),
            how: Closing::Cleared,
        });
        let finding = Finding {
            kind,
            subject,
            severity: Severity::Warning,
            probability: 0.9,
            estimate: serde_json::Map::new(),
            evidence: Vec::new(),
        };
        StoredAlert {
            no: AlertNo(no),
            system: samples::terrace().id.clone(),
            finding,
            opened_at,
            changed_at: opened_at,
            stage,
            calls: 1,
            under: None,
            folded: 0,
        }
    }

    #[test]
    fn a_finding_names_the_one_that_it_gave_way_to_and_the_other_way_round() {
        let system = samples::terrace();
        let uneven = (FindingKind::UnevenSplit, Subject::Splitter(Id::new("s2").unwrap()));
        let odd =
            |basin: &str| (FindingKind::SensorImplausible, Subject::Sensor(format!("{basin}/moisture")));
        let (t, at) = ("2026-11-20T14:30:00Z", "2026-11-18T09:00:00Z");
        let before = alert(1, uneven, at, Some(t));
        let others = [
            before.clone(),
            alert(2, odd("quince"), "2026-11-20T14:30:20Z", None),
            alert(3, odd("plum"), t, None),
            alert(4, odd("fig"), "2026-11-20T15:30:00Z", None),
        ];
        let now = "2026-11-20T18:00:00Z".parse().unwrap();
        let told = |alert: &StoredAlert| -> Vec<_> {
            let all = rivals(&system, alert, &others, now).into_iter();
            all.map(|rival| (rival.row.no.0, rival.row.better, rival.check.is_some())).collect()
        };
        assert_eq!(told(&before), [(2, true, true)], "not the one beside, nor the one an hour later");
        assert_eq!(told(&others[1]), [(1, false, true)]);
        assert_eq!(told(&others[3]), []);
        let back = rivals(&system, &others[1], &others, now).remove(0).row;
        assert!(back.headline.contains("divided the water unevenly"), "{}", back.headline);
    }
}
