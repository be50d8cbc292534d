//! What is wrong already.

use super::{Draft, mulch};
use crate::advice::{is_for_want_of_battery, is_never_heard};
use crate::model::{EventTime, FindingKind, Quantity, Severity, Span, Subject, Work};
use crate::upkeep::english;
use crate::upkeep::task::{Material, Task, TaskKind, Window};
use crate::upkeep::{Facts, Outlook, Standing};

/// A splitter that is uneven again so soon stands on ground that moves.
const SETTLING: Span = Span::from_days(90);
/// A basin that soaks slowly may wait this long at most (common practice, no published source).
const PATIENCE: Span = Span::from_days(120);
/// A flood foretold within this is a reason to go there, however little it asks for today.
const FORETOLD: Span = Span::from_days(60);
/// However near the flood, whoever makes the visit needs this long (common practice, no published source).
const NOTICE: Span = Span::from_days(3);

pub(super) fn tasks(facts: &Facts<'_>) -> Vec<Task> {
    facts.standing.iter().map(|standing| draft(facts, standing).at(facts)).collect()
}

/// How soon after it was found a kind of fault should be mended, and must be: days. Common practice, no published
/// source; that no water may stand is what rules say everywhere.
const fn days(kind: FindingKind) -> (i64, i64) {
    match kind {
        FindingKind::Flooding => (1, 1),
        FindingKind::Ponding => (3, 7),
        FindingKind::NoWater | FindingKind::UnexpectedWater => (4, 10),
        FindingKind::BlockedOutlet => (7, 14),
        FindingKind::UnevenSplit | FindingKind::SlowSoak => (14, 30),
        FindingKind::SensorSilent
        | FindingKind::SensorStuck
        | FindingKind::SensorImplausible
        | FindingKind::BatteryLow => (14, 45),
    }
}

fn draft(facts: &Facts<'_>, standing: &Standing) -> Draft {
    let Standing { finding, since } = standing;
    let kind = kind(facts, standing);
    let tried = facts.seen(&finding.subject).filter(|at| at > since);
    let waits = kind.can_wait() && finding.severity == Severity::Info;
    let mut window = window((finding.kind, waits), *since, tried);
    let outlook = mulch::outlook(facts, &finding.subject).filter(|_| finding.kind == FindingKind::SlowSoak);
    if let Some(outlook) = outlook {
        window = before_the_flood(outlook, window.earliest);
    }
    let is_foretold = outlook.is_some_and(|outlook| outlook.due - facts.now <= FORETOLD);
    let is_battery = facts.standing.iter().any(|other| is_for_want_of_battery(finding, &other.finding));
    Draft {
        kind,
        subject: finding.subject.clone(),
        window,
        urgency: if is_foretold { finding.severity.max(Severity::Warning) } else { finding.severity },
        mends: true,
        reason: english::mend(
            facts.system,
            standing,
            tried,
            (outlook.filter(|_| !mulch::floods(facts, &finding.subject)), is_battery),
        ),
        // What was never connected wants no spare.
        materials: if is_never_heard(finding) {
            Vec::new()
        } else {
            materials(facts, kind, &finding.subject)
        },
    }
}

/// From when it was found. What `waits` for the next visit brings one of its own only at its latest. What stands
/// although somebody was there is left half its time to show that the work did some good; the longer it has stood in
/// vain, the longer it is left, up to its latest. Otherwise it would bring a visit every day.
fn window((kind, waits): (FindingKind, bool), since: EventTime, tried: Option<EventTime>) -> Window {
    let (due, latest) = days(kind);
    let due = if waits { latest } else { due };
    let (due, latest) = (Span::from_days(due), Span::from_days(latest));
    let Some(tried) = tried else { return Window::from_now(since, due, latest) };
    let half = due.scaled(0.5);
    let earliest = tried + (tried - since).clamp(half, latest);
    Window { earliest, due: earliest + half, latest: earliest + latest.max(half) }
}

/// A basin that soaks slowly does its work until it floods: its mulch is renewed as the days begin on which that is
/// foretold, the first working day being the best. Sooner would throw away chips that still serve. A forecast may put
/// that off, but not beyond the day on which an earlier one expected the flood, nor for longer than [`PATIENCE`].
fn before_the_flood(outlook: &Outlook, worth_it_from: EventTime) -> Window {
    let put_off_until = (worth_it_from + PATIENCE).min(outlook.soonest).max(worth_it_from);
    let earliest = outlook.earliest.clamp(worth_it_from, put_off_until);
    let due = (earliest + (outlook.due - earliest).scaled(0.25)).min(put_off_until);
    let due = due.max(worth_it_from + NOTICE).max(earliest);
    Window { earliest, due, latest: outlook.due.max(due) }
}

fn kind(facts: &Facts<'_>, standing: &Standing) -> TaskKind {
    let subject = &standing.finding.subject;
    match (standing.finding.kind, subject) {
        (FindingKind::Flooding | FindingKind::Ponding, _) => TaskKind::LoosenBasin,
        (FindingKind::SlowSoak, _) => TaskKind::RenewMulch,
        (FindingKind::BlockedOutlet, _) => TaskKind::ClearOutlet,
        (FindingKind::UnevenSplit, _) => {
            let levelled = facts.done(subject, Work::SplitterLevelled);
            let settles = levelled.is_some_and(|at| at <= standing.since && standing.since - at < SETTLING);
            if settles { TaskKind::CheckSlope } else { TaskKind::LevelSplitter }
        }
        (FindingKind::NoWater, _) => TaskKind::ClearLine,
        (FindingKind::UnexpectedWater, Subject::Diverter) => TaskKind::ExerciseDiverter,
        (FindingKind::UnexpectedWater, _) => TaskKind::FindLeak,
        (FindingKind::BatteryLow, _) => TaskKind::ChangeBattery,
        (FindingKind::SensorSilent | FindingKind::SensorStuck | FindingKind::SensorImplausible, _) => {
            TaskKind::CheckProbe
        }
    }
}

fn materials(facts: &Facts<'_>, kind: TaskKind, subject: &Subject) -> Vec<Material> {
    match kind {
        TaskKind::LoosenBasin => mulch::chips(facts.system, subject, 0.0).into_iter().collect(),
        TaskKind::RenewMulch => {
            let left = mulch::outlook(facts, subject).map_or(0.0, |outlook| outlook.mulch_left);
            mulch::chips(facts.system, subject, left).into_iter().collect()
        }
        TaskKind::ChangeBattery => vec![Material { what: "battery", quantity: 1.0, unit: "" }],
        TaskKind::CheckProbe => match subject {
            Subject::Sensor(name) => {
                let quantity = Quantity::named(name.rsplit('/').next().unwrap_or(name));
                let what = match quantity {
                    Some(Quantity::Float | Quantity::Overflow) => "spare float",
                    Some(Quantity::Moisture) => "spare moisture probe",
                    _ => "battery",
                };
                vec![Material { what, quantity: 1.0, unit: "" }]
            }
            Subject::Splitter(_) | Subject::Basin(_) | Subject::Source | Subject::Diverter => Vec::new(),
        },
        TaskKind::ClearOutlet
        | TaskKind::ClearLine
        | TaskKind::FindLeak
        | TaskKind::LevelSplitter
        | TaskKind::CheckSlope
        | TaskKind::FlowTest
        | TaskKind::InspectOutlet
        | TaskKind::ExerciseDiverter
        | TaskKind::YearlyLook => Vec::new(),
    }
}
