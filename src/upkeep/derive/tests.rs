//! Which tasks follow from which facts.

use std::collections::BTreeMap;

use jiff::civil::{Date, date};

use crate::model::{EventTime, FindingKind, Severity, Span, Subject, Work};
use crate::upkeep::samples::{finding, id, yard_since};
use crate::upkeep::{
    Dose, Earlier, Facts, Intervals, LastDone, Outlook, PastFlood, Rules, Standing, Task, TaskKind, Tested,
    tasks,
};

const DAY: fn(i64) -> Span = Span::from_days;

fn now() -> EventTime {
    "2026-06-01T12:00:00Z".parse().unwrap()
}

fn basin(name: &str) -> Subject {
    Subject::Basin(id(name))
}

fn s1() -> Subject {
    Subject::Splitter(id("s1"))
}

/// The tasks of a yard watched for 100 days, with what `change` adds to what is known.
fn derived(rules: &Rules, change: impl FnOnce(&mut Known)) -> Vec<Task> {
    let mut known = Known { since: now() - DAY(100), ..Known::default() };
    change(&mut known);
    let system = yard_since(known.commissioned);
    let facts = Facts {
        system: &system,
        standing: &known.standing,
        past_floods: &known.past_floods,
        outlooks: &known.outlooks,
        last: &known.last,
        tests: &known.tests,
        doses: &known.doses,
        diverter_turned: known.turned,
        since: known.since,
        now: now(),
    };
    tasks(&facts, rules)
}

#[derive(Default)]
struct Known {
    standing: Vec<Standing>,
    past_floods: Vec<PastFlood>,
    outlooks: Vec<Outlook>,
    last: Vec<LastDone>,
    tests: Vec<Tested>,
    doses: Vec<Dose>,
    turned: Option<EventTime>,
    since: EventTime,
    commissioned: Option<Date>,
}

impl Known {
    fn stands(&mut self, kind: FindingKind, subject: Subject) {
        self.standing.push(Standing { finding: finding(kind, subject), since: now() - DAY(2) });
    }

    fn worked(&mut self, subject: Subject, work: Option<Work>, days_ago: i64) {
        self.last.push(LastDone { subject, work, at: now() - DAY(days_ago) });
    }

    fn doses(&mut self, count: i64, quince: f64) {
        let shares = BTreeMap::from([(id("quince"), quince), (id("fig"), 1.0 - quince)]);
        self.doses.extend(
            (0..count)
                .rev()
                .map(|at| Dose { at: now() - Span::from_hours(5 * at + 1), shares: shares.clone() }),
        );
    }
}

fn find(all: &[Task], kind: TaskKind, subject: &Subject) -> Option<Task> {
    all.iter().find(|task| task.key.kind == kind && task.key.subject == *subject).cloned()
}

#[test]
fn each_finding_brings_the_work_that_mends_it() {
    let battery = Subject::Sensor("quince/battery".to_owned());
    let probe = Subject::Sensor("quince/moisture".to_owned());
    let cases = [
        (FindingKind::Flooding, basin("quince"), TaskKind::LoosenBasin),
        (FindingKind::Ponding, basin("quince"), TaskKind::LoosenBasin),
        (FindingKind::SlowSoak, basin("quince"), TaskKind::RenewMulch),
        (FindingKind::BlockedOutlet, basin("quince"), TaskKind::ClearOutlet),
        (FindingKind::UnevenSplit, s1(), TaskKind::LevelSplitter),
        (FindingKind::NoWater, Subject::Source, TaskKind::ClearLine),
        (FindingKind::UnexpectedWater, Subject::Source, TaskKind::FindLeak),
        (FindingKind::UnexpectedWater, Subject::Diverter, TaskKind::ExerciseDiverter),
        (FindingKind::SensorSilent, probe.clone(), TaskKind::CheckProbe),
        (FindingKind::SensorStuck, probe.clone(), TaskKind::CheckProbe),
        (FindingKind::SensorImplausible, probe, TaskKind::CheckProbe),
        (FindingKind::BatteryLow, battery, TaskKind::ChangeBattery),
    ];
    for (kind, subject, expected) in cases {
        let all = derived(&Rules::default(), |known| known.stands(kind, subject.clone()));
        let task = find(&all, expected, &subject).unwrap_or_else(|| panic!("{kind}: {all:#?}"));
        assert!(task.mends && task.window.due <= now() + DAY(14) && expected.mends(kind), "{task:?}");
        assert!(task.reason.contains("30 May 2026"), "{}", task.reason);
    }
}

/// What is foretold of a basin is not said of it while it floods.
#[test]
fn no_flood_is_foretold_where_one_stands() {
    let reason = |floods: bool| {
        let all = derived(&Rules::default(), |known| {
            let [earliest, due, latest] = [30, 60, 90].map(|days| now() + DAY(days));
            let outlook = Outlook {
                basin: id("quince"),
                made: now() - DAY(1),
                due,
                earliest,
                latest,
                soonest: due,
                litres: 9_000.0,
                mulch_left: 0.35,
                week_ago: None,
            };
            known.outlooks.push(outlook);
            known.stands(FindingKind::SlowSoak, basin("quince"));
            if floods {
                known.stands(FindingKind::Flooding, basin("quince"));
            }
        });
        let task = all.iter().find(|task| task.mends && task.key.kind == TaskKind::RenewMulch);
        task.map(|task| task.reason.clone()).unwrap_or_default()
    };
    assert!(reason(false).contains("expected to flood around"), "{}", reason(false));
    assert!(!reason(true).contains("expected to flood around"), "{}", reason(true));
}

#[test]
fn work_that_includes_another_takes_its_place() {
    let all = derived(&Rules::default(), |known| known.stands(FindingKind::Flooding, basin("quince")));
    assert_eq!(find(&all, TaskKind::RenewMulch, &basin("quince")), None);
    assert_eq!(find(&all, TaskKind::InspectOutlet, &basin("quince")), None);
    assert!(find(&all, TaskKind::RenewMulch, &basin("fig")).is_some());
}

#[test]
fn a_date_that_moved_stands_beside_the_one_of_a_week_ago() {
    let outlook = |week_ago| Outlook {
        basin: id("quince"),
        made: now() - DAY(1),
        due: now() + DAY(60),
        earliest: now() + DAY(30),
        latest: now() + DAY(90),
        soonest: now() + DAY(60),
        litres: 9_000.0,
        mulch_left: 0.35,
        week_ago,
    };
    let before = |due| Earlier { made: now() - DAY(8), due };
    let reason = |outlook: Outlook| {
        let all = derived(&Rules::default(), |known| known.outlooks.push(outlook.clone()));
        find(&all, TaskKind::RenewMulch, &basin("quince")).unwrap().reason
    };
    let moved = outlook(Some(before(now() + DAY(75))));
    assert!(reason(moved.clone()).contains(" (a week ago: "), "{}", reason(moved));
    let stays = outlook(Some(before(now() + DAY(60))));
    assert!(!reason(stays.clone()).contains("week ago"), "{}", reason(stays));
    let mut renewed = moved;
    let work = |at| LastDone { subject: basin("quince"), work: Some(Work::MulchRenewed), at };
    renewed.forget_old_mulch(&[work(now() - DAY(20))]);
    assert!(renewed.week_ago.is_some());
    renewed.forget_old_mulch(&[work(now() - DAY(5))]);
    assert_eq!(renewed.week_ago, None, "that was of other mulch");
}

#[test]
fn what_lacks_a_battery_says_so() {
    let all = derived(&Rules::default(), |known| {
        known.stands(FindingKind::SensorSilent, Subject::Sensor("quince/moisture".into()));
        known.stands(FindingKind::BatteryLow, Subject::Sensor("quince/battery".into()));
        known.stands(FindingKind::SensorSilent, Subject::Sensor("fig/moisture".into()));
    });
    let reason = |name: &str| find(&all, TaskKind::CheckProbe, &Subject::Sensor(name.into())).unwrap().reason;
    assert!(
        reason("quince/moisture").contains(", most likely because the battery"),
        "{}",
        reason("quince/moisture")
    );
    assert!(!reason("fig/moisture").contains("battery"), "{}", reason("fig/moisture"));
}

#[test]
fn chips_are_area_times_depth_lost() {
    let all = derived(&Rules::default(), |known| {
        let (earliest, due, latest) = (now() + DAY(20), now() + DAY(40), now() + DAY(70));
        let basin = id("quince");
        let outlook = Outlook {
            basin,
            made: now() - DAY(1),
            due,
            earliest,
            latest,
            soonest: due,
            litres: 9_000.0,
            mulch_left: 0.35,
            week_ago: None,
        };
        known.outlooks.push(outlook);
    });
    let task = find(&all, TaskKind::RenewMulch, &basin("quince")).unwrap();
    // 1.2 m² × 200 mm × 0.65 = 156 L, in tens.
    assert_eq!((task.materials[0].quantity, task.materials[0].unit), (160.0, "L"));
    assert_eq!((task.window.earliest, task.window.due), (now() + DAY(20), now() + DAY(30)));
    assert!(task.reason.contains("9\u{a0}000\u{a0}L") && task.reason.contains("35 %"), "{}", task.reason);
}

#[test]
fn an_outlet_that_flows_freely_can_wait_and_a_weak_one_cannot() {
    let outlet = |share: f64, rules: &Rules| {
        let all = derived(rules, |known| {
            known.since = now() - DAY(360);
            known.doses(30, share);
        });
        find(&all, TaskKind::InspectOutlet, &basin("quince")).unwrap()
    };
    let free = outlet(0.5, &Rules::default());
    assert_eq!(free.window.due, now() - Span::HOUR + DAY(182));
    assert!(free.reason.contains("flowed freely") && free.reason.contains("can wait"), "{}", free.reason);
    let weak = outlet(0.2, &Rules::default());
    assert_eq!(weak.window.due, now() + DAY(5), "the interval ends sooner than three weeks");
    assert!(weak.reason.contains("40 % of its design share"), "{}", weak.reason);
    let fixed = outlet(0.5, &Rules { intervals: Intervals::Fixed, ..Rules::default() });
    assert_eq!(fixed.window.due, now() + DAY(5));
    assert!(fixed.reason.contains("fixed interval"), "{}", fixed.reason);
}

/// A yard in service for years of which no record was ever kept, watched for 90 days: looking can wait, but until a day
/// to come.
#[test]
fn an_outlet_never_looked_at_waits_until_a_day_to_come() {
    let outlet = |watched: i64| {
        let all = derived(&Rules::default(), |known| {
            known.commissioned = Some(date(2024, 4, 12));
            known.since = now() - DAY(watched);
            known.doses(30, 0.5);
        });
        find(&all, TaskKind::InspectOutlet, &basin("quince")).unwrap()
    };
    for watched in [90, 600, 2_000] {
        let task = outlet(watched);
        let waits = task.reason.contains("can wait");
        assert!(!waits || task.window.due > now(), "{watched}: {}", task.reason);
        assert_eq!(waits, watched == 90, "{watched}: {}", task.reason);
    }
}

/// However much came of late, an outlet that is found to be held back is not said to flow freely.
#[test]
fn an_outlet_that_is_held_back_does_not_flow_freely() {
    let all = derived(&Rules::default(), |known| {
        known.since = now() - DAY(360);
        known.doses(30, 0.5);
        known.stands(FindingKind::BlockedOutlet, basin("quince"));
    });
    assert!(!all.iter().any(|task| task.key.subject == basin("quince") && task.reason.contains("freely")));
    assert!(find(&all, TaskKind::InspectOutlet, &basin("fig")).unwrap().reason.contains("freely"));
}

#[test]
fn new_chips_end_what_was_foretold_of_the_old_and_are_no_look_at_the_outlet() {
    let after = |work: &[Option<Work>]| {
        derived(&Rules::default(), |known| {
            let [earliest, due, latest] = [10, 20, 40].map(|days| now() + DAY(days));
            let (basin_id, made) = (id("quince"), now() - DAY(1));
            let outlook = Outlook {
                basin: basin_id,
                made,
                due,
                earliest,
                latest,
                soonest: due,
                litres: 1.0,
                mulch_left: 0.3,
                week_ago: None,
            };
            known.outlooks.push(outlook);
            known.since = now() - DAY(700);
            for work in work {
                known.worked(basin("quince"), *work, 0);
            }
        })
    };
    let inspection = |all: &[Task]| find(all, TaskKind::InspectOutlet, &basin("quince")).unwrap().window.due;
    let (before, renewed) = (after(&[]), after(&[Some(Work::MulchRenewed), None]));
    assert!(find(&before, TaskKind::RenewMulch, &basin("quince")).is_some());
    assert_eq!(find(&renewed, TaskKind::RenewMulch, &basin("quince")), None);
    assert_eq!(inspection(&renewed), inspection(&before));
    for seen in [&[None][..], &[Some(Work::MulchRenewed), Some(Work::OutletCleared), None]] {
        assert_eq!(inspection(&after(seen)), now() + DAY(365), "{seen:?}");
    }
}

#[test]
fn nothing_waits_longer_than_twice_its_interval() {
    let all = derived(&Rules::default(), |known| {
        known.since = now() - DAY(700);
        known.doses(30, 0.5);
    });
    assert_eq!(find(&all, TaskKind::InspectOutlet, &basin("quince")).unwrap().window.due, now() + DAY(30));
}

#[test]
fn a_diverter_that_was_turned_need_not_be_exercised() {
    let due = |turned: Option<i64>, rules: &Rules| {
        let all = derived(rules, |known| {
            known.worked(Subject::Diverter, Some(Work::DiverterExercised), 300);
            known.turned = turned.map(|days| now() - DAY(days));
        });
        find(&all, TaskKind::ExerciseDiverter, &Subject::Diverter).unwrap().window.due
    };
    assert_eq!(due(None, &Rules::default()), now() + DAY(65));
    assert_eq!(due(Some(10), &Rules::default()), now() + DAY(355));
    assert_eq!(due(Some(10), &Rules { intervals: Intervals::Fixed, ..Rules::default() }), now() + DAY(65));
}

#[test]
fn work_on_a_split_is_to_be_proved_by_a_test_or_by_ordinary_doses() {
    let test = |change: &dyn Fn(&mut Known)| {
        let all = derived(&Rules::default(), |known| {
            known.worked(s1(), Some(Work::SplitterLevelled), 3);
            change(known);
        });
        find(&all, TaskKind::FlowTest, &s1())
    };
    assert!(test(&|_| ()).is_some());
    assert!(test(&|known| known.doses(5, 0.5)).unwrap().reason.contains("5 of the 12"));
    assert_eq!(test(&|known| known.doses(12, 0.5)), None);
    let tested = |days_ago: i64, even: bool| {
        test(&|known| known.tests.push(Tested { splitter: id("s1"), at: now() - DAY(days_ago), even }))
    };
    assert_eq!(tested(1, true), None);
    assert!(tested(4, true).is_some(), "before the work");
    let in_vain = tested(1, false).unwrap();
    assert_eq!((in_vain.window.earliest, in_vain.window.due), (now() + DAY(6), now() + DAY(13)));
    assert!(in_vain.reason.contains("31 May 2026 did not prove it"), "{}", in_vain.reason);
    let cleared =
        derived(&Rules::default(), |known| known.worked(basin("fig"), Some(Work::OutletCleared), 3));
    assert!(find(&cleared, TaskKind::FlowTest, &s1()).is_some());
}

#[test]
fn a_splitter_uneven_again_soon_stands_on_ground_that_moves() {
    let kind = |days_ago: i64| {
        let all = derived(&Rules::default(), |known| {
            known.worked(s1(), Some(Work::SplitterLevelled), days_ago);
            known.stands(FindingKind::UnevenSplit, s1());
        });
        all.iter().find(|task| task.key.subject == s1()).unwrap().key.kind
    };
    assert_eq!((kind(30), kind(200)), (TaskKind::CheckSlope, TaskKind::LevelSplitter));
}

#[test]
fn a_fault_that_stands_after_a_visit_does_not_bring_one_every_day() {
    let probe = Subject::Sensor("fig/moisture".to_owned());
    let due = |stands: i64, tried: Option<i64>| {
        let all = derived(&Rules::default(), |known| {
            known.stands(FindingKind::SensorStuck, probe.clone());
            known.standing[0].since = now() - DAY(stands);
            if let Some(days_ago) = tried {
                known.worked(probe.clone(), None, days_ago);
            }
        });
        let task = find(&all, TaskKind::CheckProbe, &probe).unwrap();
        (task.window.earliest - now(), task.window.due - now(), task.reason.contains("somebody was there"))
    };
    let (earliest, soon, _) = due(2, None);
    assert!(earliest <= DAY(0) && soon <= DAY(14));
    assert_eq!(due(2, Some(0)), (DAY(7), DAY(14), true), "just looked at: half of its time to show");
    assert_eq!(
        due(30, Some(0)),
        (DAY(30), DAY(37), true),
        "the longer in vain, the longer until the next try"
    );
    assert_eq!(due(300, Some(0)), (DAY(45), DAY(52), true), "but it is not given up");
}

#[test]
fn mulch_of_a_slow_basin_is_renewed_as_the_days_begin_on_which_a_flood_is_foretold() {
    let put_off = |earliest: i64, due: i64, expected: &[i64]| {
        let all = derived(&Rules::default(), |known| {
            known.stands(FindingKind::SlowSoak, basin("quince"));
            let (earliest, due, latest) = (now() + DAY(earliest), now() + DAY(due), now() + DAY(due + 30));
            let basin = id("quince");
            let outlook = Outlook {
                basin,
                made: now() - DAY(1),
                due,
                earliest,
                latest,
                soonest: due,
                litres: 9_000.0,
                mulch_left: 0.8,
                week_ago: None,
            };
            let before: Vec<_> =
                expected.iter().map(|days| Outlook { due: now() + DAY(*days), ..outlook.clone() }).collect();
            known.outlooks.push(outlook);
            known.outlooks[0].remember(&known.standing, before.iter().map(|it| (now() - DAY(1), it)));
            // What was thought before the basin was found to soak slowly is forgotten.
            let long_ago = Outlook { due: now() + DAY(5), ..known.outlooks[0].clone() };
            known.outlooks[0].remember(&known.standing, std::iter::once((now() - DAY(30), &long_ago)));
        });
        let task = find(&all, TaskKind::RenewMulch, &basin("quince")).unwrap();
        assert!(task.mends && task.reason.contains("expected to flood around"), "{}", task.reason);
        [task.window.earliest, task.window.due, task.window.latest].map(|at| at - now())
    };
    let renewal = |earliest, due| put_off(earliest, due, &[]);
    assert_eq!(renewal(20, 40), [20, 25, 40].map(DAY));
    assert_eq!(renewal(-5, 3), [-2, 1, 3].map(DAY), "the days have begun: at once");
    assert_eq!(renewal(-20, -10), [-2, 1, 1].map(DAY), "the flood should have come");
    assert_eq!(renewal(200, 400)[0], DAY(118), "nobody waits half a year with what was found");
    assert_eq!(
        put_off(20, 40, &[12, 30]),
        [12, 12, 40].map(DAY),
        "an earlier one expected the flood by then"
    );
    assert_eq!(put_off(20, 40, &[60]), renewal(20, 40));
}

#[test]
fn a_flood_that_went_by_itself_is_looked_into_until_somebody_has_been_there() {
    let flooded = |known: &mut Known, began: i64, over: i64| {
        let (since, until) = (now() - DAY(began), now() - DAY(over));
        known.past_floods.push(PastFlood { basin: basin("quince"), since, until });
    };
    let look = |change: &dyn Fn(&mut Known)| {
        let all = derived(&Rules::default(), |known| {
            flooded(known, 40, 39);
            flooded(known, 9, 2);
            change(known);
        });
        find(&all, TaskKind::LoosenBasin, &basin("quince"))
    };
    let task = look(&|_| {}).expect("nobody was there");
    assert!(task.mends && task.reason.contains("2 times within two months"), "{}", task.reason);
    assert_eq!(task.window.due - now(), DAY(5));
    assert_eq!(look(&|known| known.worked(basin("quince"), None, 1)), None);
    assert!(look(&|known| known.worked(basin("quince"), None, 20)).is_some(), "before the last flood");
    let again = look(&|known| known.stands(FindingKind::Flooding, basin("quince"))).expect("it floods");
    assert!(again.reason.contains("not over yet"), "{}", again.reason);
}

#[test]
fn a_forecast_counts_for_weeks_and_is_forgotten_when_more_was_seen() {
    let soonest = |days_ago: i64| {
        let slow = finding(FindingKind::SlowSoak, basin("quince"));
        let standing = Standing { finding: slow, since: now() - DAY(60) };
        let told = |made: EventTime, due: EventTime| Outlook {
            basin: id("quince"),
            made,
            due,
            earliest: due - DAY(9),
            latest: due + DAY(9),
            soonest: due,
            litres: 9_000.0,
            mulch_left: 0.8,
            week_ago: None,
        };
        let mut newest = told(now(), now() + DAY(40));
        let before = told(now() - DAY(days_ago), now() + DAY(5));
        newest.remember(&[standing], std::iter::once((before.made, &before)));
        newest.soonest - now()
    };
    assert_eq!([7, 28, 35, 70].map(soonest), [5, 5, 40, 40].map(DAY));
}

#[test]
fn what_can_wait_for_the_next_visit_brings_one_of_its_own_only_at_its_latest() {
    let due = |severity, finding, task, subject: Subject| {
        let all = derived(&Rules::default(), |known| {
            known.stands(finding, subject.clone());
            known.standing[0].finding.severity = severity;
        });
        find(&all, task, &subject).unwrap().window.due - now()
    };
    let battery = |severity| {
        let subject = Subject::Sensor("quince/battery".to_owned());
        due(severity, FindingKind::BatteryLow, TaskKind::ChangeBattery, subject)
    };
    assert_eq!([Severity::Warning, Severity::Info].map(battery), [DAY(12), DAY(43)]);
    let split = |severity| due(severity, FindingKind::UnevenSplit, TaskKind::LevelSplitter, s1());
    assert_eq!([Severity::Warning, Severity::Info].map(split), [DAY(12), DAY(12)], "pipes do not wait");
}
