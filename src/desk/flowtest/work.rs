//! What a flow test rests on, and what people may do with it.

use std::collections::BTreeMap;
use std::sync::Arc;

use crate::desk::office::Office;
use crate::desk::people::{Visitor, only_if_may};
use crate::desk::problem::Problem;
use crate::desk::visit::ask;
use crate::flowtest::{Caught, Method, Outcome, Run, Trace, judge};
use crate::ledger::{
    DoseRecord, LedgerFault, Order, Resolution, ServiceFilter, StoredService, StoredTest, TestDeed,
    TestOrder, View,
};
use crate::model::{Action, BasinIx, EventTime, Id, Place, Quantity, RecordKey, Span, Subject, System, Work};

/// How long before the water the soil is looked at.
const CALM: Span = Span::from_hours(3);
/// A dose whose beginning was measured this much before the button was pressed belongs to the test: sensors that
/// report every quarter of an hour see it begin up to two reports before it did.
const EARLY: Span = Span::from_mins(30);
/// Earlier tests to compare with.
const EARLIER: usize = 20;

/// A flow test with all it rests on.
#[derive(Clone, Debug)]
pub(in crate::desk) struct Known {
    pub(in crate::desk) test: StoredTest,
    /// Doses that began while it ran, rain-touched ones as well.
    pub(in crate::desk) doses: Vec<DoseRecord>,
    /// What it comes to so far, or came to.
    pub(in crate::desk) outcome: Outcome,
    /// By basin; empty where nobody watches any more.
    pub(in crate::desk) traces: Vec<Trace>,
    /// Tests before it that came to something, newest first.
    pub(in crate::desk) earlier: Vec<StoredTest>,
    /// Levellings between the test before and this one.
    pub(in crate::desk) levelled: Vec<StoredService>,
}

impl Known {
    /// Its end, with what it came to.
    ///
    /// # Errors
    /// Nothing is measured yet.
    fn finished(&self) -> Result<TestDeed, Problem> {
        if self.outcome.runs == 0 {
            return Err(Problem::wrong("nothing is measured yet: wait for a dose, or give the test up"));
        }
        Ok(TestDeed::Finish { outcome: self.outcome.clone() })
    }
}

/// A test in the visitor's reach, with all it rests on, and its system.
pub(in crate::desk) async fn reached(
    office: &Office,
    visitor: &Visitor,
    key: &str,
) -> Result<(Known, Arc<System>), Problem> {
    let (test, system) = seen(office, visitor, key).await?;
    let (now, asked) = (office.now(), Arc::clone(&system));
    let known = ask(office, move |view| known(view, &asked, test, now)).await?;
    Ok((known, system))
}

/// A test in the visitor's reach, with its system.
async fn seen(office: &Office, visitor: &Visitor, key: &str) -> Result<(StoredTest, Arc<System>), Problem> {
    let unknown = || Problem::not_found("no flow test in your reach has this key");
    let key = RecordKey::new(key).map_err(|_| unknown())?;
    let test = ask(office, move |view| view.flow_test(&key)).await?.ok_or_else(unknown)?;
    let system = office.system(visitor, test.system.as_str()).ok_or_else(unknown)?;
    Ok((test, system))
}

/// What is known of a test at `now`.
pub(super) fn known(
    view: &View,
    system: &System,
    test: StoredTest,
    now: EventTime,
) -> Result<Known, LedgerFault> {
    let end = test.ended.as_ref().map_or(now, |(at, _)| *at);
    let doses = view.doses(&system.id, test.began - EARLY, end)?;
    let runs: Vec<Run> = match test.method {
        Method::Probes => doses
            .iter()
            .filter_map(|dose| Run::by_probes(system, dose.at, &dose.shares, dose.quality))
            .collect(),
        Method::Buckets => {
            test.runs.iter().filter_map(|(at, caught)| Run::by_buckets(system, *at, caught)).collect()
        }
    };
    let outcome = test.outcome.clone().unwrap_or_else(|| judge(system, &runs));
    let traces = match (test.method, &test.ended) {
        (Method::Probes, None) => system
            .basin_ixs()
            .map(|basin| trace(view, system, basin, (test.began - CALM, now)))
            .collect::<Result<_, _>>()?,
        (Method::Probes, Some(_)) | (Method::Buckets, _) => Vec::new(),
    };
    let mut earlier = view.flow_tests(&system.id, EventTime::MIN, test.began, EARLIER)?;
    earlier.retain(|test| test.outcome.is_some());
    let since = earlier.first().map_or(EventTime::MIN, |before| before.began);
    let filter = ServiceFilter {
        systems: Some(vec![system.id.clone()]),
        from: Some(since),
        to: Some(test.began + Span::from_millis(1)),
        ..ServiceFilter::default()
    };
    let mut levelled = view.services(&filter, 200)?;
    levelled.retain(|service| {
        matches!(service.record.subject, Subject::Splitter(_))
            && service.record.work.contains(&Work::SplitterLevelled)
    });
    Ok(Known { test, doses, outcome, traces, earlier, levelled })
}

fn trace(
    view: &View,
    system: &System,
    basin: BasinIx,
    (from, to): (EventTime, EventTime),
) -> Result<Trace, LedgerFault> {
    let read = |quantity| {
        let Some(sensor) = system.find_sensor(Place::Basin(basin), quantity) else { return Ok(Vec::new()) };
        let bins = view.history(&system.id, &system.sensor_name(sensor), from, to, Resolution::Raw)?;
        Ok::<_, LedgerFault>(bins.into_iter().map(|bin| (bin.at, bin.mean)).collect())
    };
    let float = read(Quantity::Float)?.into_iter().map(|(at, value)| (at, value >= 0.5)).collect();
    Ok(Trace { moisture: read(Quantity::Moisture)?, float })
}

/// Places an order about a test of `system`.
pub(in crate::desk) async fn place(
    office: &Office,
    visitor: &Visitor,
    system: &System,
    key: RecordKey,
    deed: TestDeed,
) -> Result<(), Problem> {
    only_if_may(visitor, Action::Attend)?;
    let by = visitor.name().to_owned();
    let order = TestOrder { at: office.now(), by, system: system.id.clone(), key, deed };
    office.desk.orders.place(Order::Test(order)).await?;
    Ok(())
}

/// The step by which somebody says that the water is off.
pub(super) const RUN_ENDED: &str = "run-ended";

/// What the buckets of one run held: the run's own key, and by basin.
pub(in crate::desk) type CaughtRun = (RecordKey, BTreeMap<Id, Caught>);

/// Takes the step called `act` with the test `key`; `caught` reads what the buckets held, for the step that tells it.
pub(in crate::desk) async fn step(
    office: &Office,
    visitor: &Visitor,
    (key, act): (&str, &str),
    caught: impl FnOnce(&System) -> Result<CaughtRun, Problem>,
) -> Result<(), Problem> {
    only_if_may(visitor, Action::Attend)?;
    let (known, system) = reached(office, visitor, key).await?;
    let deed = match (act, known.test.method) {
        ("catch", Method::Buckets) => {
            let (run, caught) = caught(&system)?;
            if caught.len() < 2 || caught.values().all(|caught| caught.litres <= 0.0) {
                return Err(Problem::wrong("read at least two buckets, one of them with water"));
            }
            TestDeed::Catch { run, caught }
        }
        ("catch", Method::Probes) => return Err(Problem::wrong("nothing is caught in a test by probes")),
        (RUN_ENDED, Method::Buckets) => {
            return Err(Problem::wrong(
                "a run by buckets is over once they are read, when the drip has stopped",
            ));
        }
        (RUN_ENDED, Method::Probes) if known.test.ended.is_some() => {
            return Err(Problem::wrong("this flow test is over already"));
        }
        (RUN_ENDED, Method::Probes) => TestDeed::RunOver,
        ("finish", _) => known.finished()?,
        ("give-up", _) => TestDeed::GiveUp,
        _ => return Err(Problem::wrong("a step is `catch`, `run-ended`, `finish` or `give-up`")),
    };
    place(office, visitor, &system, known.test.key, deed).await
}
