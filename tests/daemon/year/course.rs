//! A year of a yard and of the daemon that watches it, in step.

use std::path::Path;
use std::sync::Arc;

use basinward::ledger::{Ledger, Order, View};
use basinward::model::{EventTime, RecordKey, Span, System};
use basinward::run::Steward;
use basinward::schedule::work_out;
use basinward::systemfile;
use basinward::upkeep::{Crew, Day, Plan, Rules, TaskKey};
use simulators::fault::Action;

use super::technician;
use super::yard::SimulatedYard;

const PREFIX: &str = "greywater";
/// The clock moves by this while nobody works.
const STEP: Span = Span::from_hours(3);

/// A visit that was made.
#[derive(Clone, Debug)]
pub(super) struct Made {
    pub(super) at: EventTime,
    pub(super) tasks: Vec<String>,
}

/// A year that is over; its ledger is closed.
pub(super) struct Lived {
    pub(super) yard: SimulatedYard,
    pub(super) visits: Vec<Made>,
    pub(super) zone: jiff::tz::TimeZone,
}

/// The year under way.
pub(super) struct Course {
    yard: SimulatedYard,
    steward: Steward,
    view: View,
    systems: Vec<Arc<System>>,
    now: EventTime,
    keys: u64,
}

impl Course {
    /// Begins with an empty ledger in `folder`.
    pub(super) fn begin(folder: &Path) -> Self {
        let yard = SimulatedYard::new();
        let system =
            systemfile::parse("hazel-court.toml", SimulatedYard::system_file()).expect("it is sound");
        let systems = vec![Arc::new(system)];
        let steward =
            Steward::open(Ledger::open(folder).expect("a ledger"), &systems, PREFIX).expect("engines");
        let view = View::open(folder).expect("the ledger");
        Self { now: yard.begins(), yard, steward, view, systems, keys: 0 }
    }

    /// Lives through the year: on every working day the plan is made anew, and its visits of the day are made.
    pub(super) fn live(mut self) -> Lived {
        let (rules, crew) = (Rules::default(), Crew::default());
        let zone = self.system().zone.clone();
        let (mut plan, mut visits) = (Plan::default(), Vec::new());
        let days = Day::of(self.yard.begins(), &zone).0..Day::of(self.yard.ends(), &zone).0;
        for today in days.map(Day).filter(|day| crew.days.has(*day)) {
            self.live_until(today.at(crew.starts_at, &zone));
            let upkeep = work_out(&self.view, &self.systems, (&rules, &crew), &plan, self.now);
            plan = upkeep.expect("the ledger").plan;
            self.order(Order::Plan { made: self.now, plan: plan.clone() });
            for visit in plan.visits.clone().into_iter().filter(|visit| visit.day == today) {
                let tasks = visit.tasks.iter().map(TaskKey::text).collect();
                visits.push(Made { at: self.now, tasks });
                technician::visit(&mut self, &visit.tasks);
            }
        }
        self.live_until(self.yard.ends());
        self.steward.put_away().expect("it is stored");
        Lived { yard: self.yard, visits, zone }
    }

    pub(super) fn now(&self) -> EventTime {
        self.now
    }

    pub(super) fn system(&self) -> &System {
        &self.systems[0]
    }

    pub(super) fn view(&self) -> &View {
        &self.view
    }

    pub(super) fn new_key(&mut self) -> RecordKey {
        self.keys += 1;
        RecordKey::new(&format!("a-year-of-hazel-{:04}", self.keys)).expect("a key")
    }

    /// Somebody does this in turn, and it is over when this returns.
    pub(super) fn put_to_work(&mut self, actions: Vec<Action>, each: Span) {
        let takes = each.scaled(actions.len() as f64 + 1.0);
        self.yard.put_to_work(actions, each);
        self.live_until(self.now + takes);
    }

    fn live_until(&mut self, until: EventTime) {
        while self.now < until {
            self.now = (self.now + STEP).min(until);
            for message in self.yard.live_until(self.now) {
                let received = EventTime::from_millis(message.received_ms);
                self.steward.take(received, &message.topic, &message.payload);
            }
            self.steward.tick(self.now);
        }
        self.steward.store().expect("it is stored");
    }

    /// Places an order and commits it.
    pub(super) fn order(&mut self, order: Order) {
        self.steward.order(self.now, order).expect("the order is taken");
        let commit = self.steward.store().expect("it is stored").expect("there is something to store");
        assert!(commit.answers.iter().all(Result::is_ok), "{:?}", commit.answers);
    }
}
