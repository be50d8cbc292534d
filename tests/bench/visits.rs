//! Cost of planning: 2,000 systems at 200 properties, each with a dozen tasks, for the first time and again.
//!
//! Run with `cargo bench --bench visits`.

use std::hint::black_box;

use basinward::model::{Id, Subject};
use basinward::upkeep::{Crew, Day, Job, Plan, TaskKey, TaskKind, plan};
use criterion::{Criterion, criterion_group, criterion_main};

const TODAY: Day = Day(20_454);
const PROPERTIES: usize = 200;
const SYSTEMS_EACH: usize = 10;
const TASKS_EACH: usize = 12;

/// Windows scattered over half a year by a fixed scramble.
fn jobs() -> Vec<Job> {
    let id = |text: String| Id::new(&text).expect("it is an id");
    let scrambled = |at: usize| ((at as f64) * 0.618_033_988_749_895).fract();
    (0..PROPERTIES * SYSTEMS_EACH * TASKS_EACH)
        .map(|at| {
            let (system, property) = (at / TASKS_EACH, at / TASKS_EACH / SYSTEMS_EACH);
            let earliest = TODAY.plus((180.0 * scrambled(at)) as i64 - 20);
            Job {
                key: TaskKey {
                    system: id(format!("system-{system}")),
                    kind: TaskKind::InspectOutlet,
                    subject: Subject::Basin(id(format!("basin-{at}"))),
                },
                property: id(format!("property-{property}")),
                minutes: 5 + (20.0 * scrambled(7 * at)) as u32,
                earliest,
                due: earliest.plus(5 + (90.0 * scrambled(3 * at)) as i64),
                mends: at % 9 == 0,
            }
        })
        .collect()
}

fn planning(c: &mut Criterion) {
    let jobs = jobs();
    let crew = Crew { minutes_a_day: 16 * 60, travel: 20, ..Crew::default() };
    let first = plan(&jobs, &crew, TODAY, &Plan::default());
    println!("{} tasks, {} visits, {} late", jobs.len(), first.visits.len(), first.late.len());
    let mut group = c.benchmark_group("visits");
    group.sample_size(10);
    group.bench_function("200 properties, 24,000 tasks, first plan", |b| {
        b.iter(|| black_box(plan(&jobs, &crew, TODAY, &Plan::default())));
    });
    group.bench_function("200 properties, 24,000 tasks, the day after", |b| {
        b.iter(|| black_box(plan(&jobs, &crew, TODAY.plus(1), &first)));
    });
    group.finish();
}

criterion_group!(benches, planning);
criterion_main!(benches);
