//! Somebody who does what the visit sheet says, and writes it down.

use std::collections::{BTreeMap, BTreeSet};

use super::deeds;
use super::year::Year;
use crate::flowtest::{Caught, Method, Next, Outcome, Run, SplitResult, Verdict, judge};
use crate::ledger::{DoseRecord, LedgerFault, Order, ServiceDeed, ServiceOrder, TestDeed, TestOrder};
use crate::model::{
    EventTime, Id, LevelReading, LevelUnit, Quantity, RecordKey, ServiceRecord, Span, Subject, System, Work,
};
use crate::upkeep::{TaskKey, TaskKind};

const NAME: &str = "Sam";
/// Litres of a flow test, and how long until the last of them has left the pipe.
const LITRES: f64 = 120.0;
const RUNS_OUT: Span = Span::from_mins(15);
/// Probes that report every quarter of an hour tell of a dose within this of the water being off, or not at all.
const SETTLED: Span = Span::from_hours(3);
/// Probes that report so seldom see a dose begin up to two reports before it did.
const EARLY: Span = Span::from_mins(30);
/// Runs of one test before it is ended with what it has.
const MOST_RUNS: usize = 3;
/// From mark to mark of the buckets, litres.
const MARK_L: f64 = 0.5;
/// From mark to mark of the rule that is held into a hole in the mulch, mm.
const RULE_MM: f64 = 5.0;
/// One piece of work.
const TAKES: Span = Span::from_mins(10);

/// Does the tasks of a visit in turn, and proves the splits that were worked on.
pub(super) fn visit(year: &mut Year<'_>, tasks: &[TaskKey]) -> Result<(), LedgerFault> {
    let systems: BTreeSet<&Id> = tasks.iter().map(|task| &task.system).collect();
    for system in systems {
        let at = year.place_of(system);
        let here = || tasks.iter().filter(|task| task.system == *system);
        for task in here().filter(|task| task.kind != TaskKind::FlowTest) {
            work(year, at, task)?;
        }
        let changes_a_split = |task: &TaskKey| {
            matches!(task.kind, TaskKind::LevelSplitter | TaskKind::CheckSlope | TaskKind::FlowTest)
        };
        if here().any(changes_a_split) && is_measured(year.system(at)) {
            flow_test(year, at)?;
        }
    }
    Ok(())
}

/// Whether probes tell what the basins get.
fn is_measured(system: &System) -> bool {
    system.sensors.iter().filter(|sensor| sensor.quantity == Quantity::Moisture).count() > 1
}

/// What is done for a task: a sensor that is in doubt is replaced.
fn done(task: &TaskKey) -> Vec<Work> {
    let quantity = match (task.kind, &task.subject) {
        (TaskKind::CheckProbe, Subject::Sensor(name)) => name.rsplit('/').next().and_then(Quantity::named),
        _ => None,
    };
    match quantity.map(Work::SensorReplaced) {
        Some(replaced) if Work::ALL.contains(&replaced) => vec![replaced],
        Some(_) | None => task.kind.work().to_vec(),
    }
}

/// Does one task and writes it down.
fn work(year: &mut Year<'_>, at: usize, task: &TaskKey) -> Result<(), LedgerFault> {
    let work = done(task);
    let renews = work.contains(&Work::MulchRenewed);
    let mulch_found_mm =
        year.mulch_mm(at, &task.subject).filter(|_| renews).map(|mm| (mm / RULE_MM).round() * RULE_MM);
    year.put_to(at, deeds::of_record(&task.subject, &work), TAKES)?;
    let now = year.now();
    let mut record = ServiceRecord::look(task.subject.clone(), now);
    record.work = work;
    let is = |kinds: &[TaskKind]| kinds.contains(&task.kind);
    record.mulch_found_mm = mulch_found_mm;
    record.mulch_left_mm = is(&[TaskKind::RenewMulch, TaskKind::LoosenBasin]).then_some(200.0);
    record.air_gap_mm = is(&[TaskKind::InspectOutlet]).then_some(140.0);
    record.level = is(&[TaskKind::LevelSplitter, TaskKind::CheckSlope]).then_some(LevelReading {
        unit: LevelUnit::Degrees,
        found: Some(2.5),
        left: Some(0.0),
    });
    let (system, key) = (task.system.clone(), year.new_key());
    let deed = ServiceDeed::Record(Box::new(record));
    year.order(Order::Service(ServiceOrder { at: now, by: NAME.to_owned(), system, key, deed }))
}

/// Runs water, says when it is off, and ends the test with what the probes said; where they do not tell, once more with
/// buckets.
fn flow_test(year: &mut Year<'_>, at: usize) -> Result<(), LedgerFault> {
    let outcome = by_probes(year, at)?;
    let tells = |split: &SplitResult| matches!(split.verdict, Verdict::Even | Verdict::Uneven);
    if outcome.splits.iter().all(tells) { Ok(()) } else { by_buckets(year, at) }
}

fn by_probes(year: &mut Year<'_>, at: usize) -> Result<Outcome, LedgerFault> {
    let (began, key) = (year.now(), begin(year, at, Method::Probes)?);
    let mut outcome = judge(year.system(at), &[]);
    for _ in 0..MOST_RUNS {
        run_water(year, at)?;
        order(year, at, &key, TestDeed::RunOver)?;
        year.live_until(year.now() + SETTLED)?;
        outcome = judge(year.system(at), &runs(year, at, began - EARLY)?);
        if !outcome.splits.iter().any(|split| matches!(split.next, Next::RunAgain { .. })) {
            break;
        }
    }
    end(year, at, &key, outcome.clone())?;
    Ok(outcome)
}

/// What a bucket below each outlet holds is read to the nearest mark.
fn by_buckets(year: &mut Year<'_>, at: usize) -> Result<(), LedgerFault> {
    let key = begin(year, at, Method::Buckets)?;
    run_water(year, at)?;
    let caught: BTreeMap<Id, Caught> = year
        .truly_received(at)
        .into_iter()
        .map(|(basin, litres)| {
            (basin, Caught { litres: (litres / MARK_L).round() * MARK_L, mark_litres: MARK_L })
        })
        .collect();
    let run = year.new_key();
    order(year, at, &key, TestDeed::Catch { run, caught: caught.clone() })?;
    let runs: Vec<Run> = Run::by_buckets(year.system(at), year.now(), &caught).into_iter().collect();
    let outcome = judge(year.system(at), &runs);
    end(year, at, &key, outcome)
}

fn begin(year: &mut Year<'_>, at: usize, method: Method) -> Result<RecordKey, LedgerFault> {
    let key = year.new_key();
    let note = "after levelling".to_owned();
    order(year, at, &key, TestDeed::Begin { method, litres: Some(LITRES), note })?;
    Ok(key)
}

fn run_water(year: &mut Year<'_>, at: usize) -> Result<(), LedgerFault> {
    year.put_to(at, vec![deeds::water(Some(LITRES))], Span::MINUTE)?;
    year.live_until(year.now() + RUNS_OUT)
}

fn end(year: &mut Year<'_>, at: usize, key: &RecordKey, outcome: Outcome) -> Result<(), LedgerFault> {
    let deed = if outcome.runs > 0 { TestDeed::Finish { outcome } } else { TestDeed::GiveUp };
    order(year, at, key, deed)
}

/// The doses that the engine told of since then.
fn runs(year: &Year<'_>, at: usize, from: EventTime) -> Result<Vec<Run>, LedgerFault> {
    let system = year.system(at);
    let doses = year.view().doses(&system.id, from, year.now())?;
    let run = |dose: &DoseRecord| Run::by_probes(system, dose.at, &dose.shares, dose.quality);
    Ok(doses.iter().filter_map(run).collect())
}

fn order(year: &mut Year<'_>, at: usize, key: &RecordKey, deed: TestDeed) -> Result<(), LedgerFault> {
    let (now, system) = (year.now(), year.system(at).id.clone());
    year.order(Order::Test(TestOrder { at: now, by: NAME.to_owned(), system, key: key.clone(), deed }))
}
