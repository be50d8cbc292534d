//! Somebody who does what the visit sheet says, and writes it down.

use basinward::flowtest::{Method, Run, judge};
use basinward::ledger::{Order, ServiceDeed, ServiceOrder, TestDeed, TestOrder, View};
use basinward::model::{EventTime, LevelReading, LevelUnit, RecordKey, ServiceRecord, Span, Subject, System};
use basinward::upkeep::{TaskKey, TaskKind};
use simulators::fault::{Action, Diverter};

use super::course::Course;

const NAME: &str = "Sam";
/// A flow test: litres run at once, how fast, and how long the doses of the house add to it before somebody ends it.
const LITRES: f64 = 120.0;
const LITRES_A_MINUTE: f64 = 10.0;
const LASTS: Span = Span::from_hours(22);
/// Probes that report every quarter of an hour see a dose begin up to two reports before it did.
const EARLY: Span = Span::from_mins(30);
/// One piece of work.
const TAKES: Span = Span::from_mins(10);

/// Does the tasks of a visit in turn, and proves the splits if one was levelled.
pub(super) fn visit(course: &mut Course, tasks: &[TaskKey]) {
    course.put_to_work(tasks.iter().flat_map(actions).collect(), TAKES);
    tasks.iter().filter(|task| task.kind != TaskKind::FlowTest).for_each(|task| write_down(course, task));
    let proof = |task: &TaskKey| {
        matches!(task.kind, TaskKind::LevelSplitter | TaskKind::CheckSlope | TaskKind::FlowTest)
    };
    if tasks.iter().any(proof) {
        flow_test(course);
    }
}

fn write_down(course: &mut Course, task: &TaskKey) {
    let mut record = ServiceRecord::look(task.subject.clone(), course.now());
    record.work = task.kind.work().to_vec();
    let is = |kinds: &[TaskKind]| kinds.contains(&task.kind);
    record.mulch_left_mm = is(&[TaskKind::RenewMulch, TaskKind::LoosenBasin]).then_some(200.0);
    record.air_gap_mm = is(&[TaskKind::InspectOutlet]).then_some(140.0);
    record.level = is(&[TaskKind::LevelSplitter, TaskKind::CheckSlope]).then_some(LevelReading {
        unit: LevelUnit::Degrees,
        found: Some(2.5),
        left: Some(0.0),
    });
    let (at, key) = (course.now(), course.new_key());
    let system = course.system().id.clone();
    assert_eq!(record.faults(course.system(), at), []);
    let deed = ServiceDeed::Record(Box::new(record));
    course.order(Order::Service(ServiceOrder { at, by: NAME.to_owned(), system, key, deed }));
}

/// What doing `task` changes in the yard.
fn actions(task: &TaskKey) -> Vec<Action> {
    match (task.kind, &task.subject) {
        (TaskKind::LevelSplitter | TaskKind::CheckSlope, Subject::Splitter(id)) => {
            vec![Action::LevelSplitter(id.to_string())]
        }
        (TaskKind::RenewMulch | TaskKind::LoosenBasin, Subject::Basin(id)) => {
            vec![Action::RenewMulch(id.to_string())]
        }
        (TaskKind::ClearOutlet | TaskKind::InspectOutlet, Subject::Basin(id)) => {
            vec![Action::ClearOutlet(id.to_string())]
        }
        (TaskKind::ExerciseDiverter, _) => {
            vec![Action::TurnDiverter(Diverter::Sewer), Action::TurnDiverter(Diverter::Landscape)]
        }
        _ => Vec::new(),
    }
}

/// Runs water and ends the test with what the probes said.
fn flow_test(course: &mut Course) {
    let key = course.new_key();
    let began = course.now();
    let note = "after levelling".to_owned();
    order(course, &key, TestDeed::Begin { method: Method::Probes, litres: Some(LITRES), note });
    course.put_to_work(vec![Action::FlowTest { litres: LITRES, l_min: LITRES_A_MINUTE }], LASTS.scaled(0.5));
    let runs = runs(course.view(), course.system(), began - EARLY, course.now());
    let outcome = judge(course.system(), &runs);
    order(course, &key, TestDeed::Finish { outcome });
}

/// The doses that the engine told of since the test began.
fn runs(view: &View, system: &System, from: EventTime, to: EventTime) -> Vec<Run> {
    let doses = view.doses(&system.id, from, to).expect("the ledger");
    doses.iter().filter_map(|dose| Run::by_probes(system, dose.at, &dose.shares, dose.quality)).collect()
}

fn order(course: &mut Course, key: &RecordKey, deed: TestDeed) {
    let (at, system) = (course.now(), course.system().id.clone());
    course.order(Order::Test(TestOrder { at, by: NAME.to_owned(), system, key: key.clone(), deed }));
}
