//! A simulated yard, what an engine tells of its doses, and the truth.

use std::sync::Arc;

use basinward::engine::{Dose, Effect};
use basinward::fleet::{Fleet, Gathered};
use basinward::model::{EventTime, System};
use basinward::systemfile;
use simulators::radio::Message;
use simulators::run::Truth;
use simulators::scenario::{Library, Scenario, ScenarioError};
use simulators::span::Span;

pub(crate) struct Yard {
    pub(crate) scenario: Scenario,
    pub(crate) system: Arc<System>,
    /// As told.
    pub(crate) doses: Vec<Dose>,
    pub(crate) truth: Truth,
}

impl Yard {
    pub(crate) fn simulated(name: &str, days: i64, seed: u64) -> Self {
        let mut scenario = Library::shipped().load(name).expect("a scenario");
        scenario.duration = Span::days(days);
        let file = format!("{}.toml", scenario.wiring.system);
        let system = Arc::new(systemfile::parse(&file, &scenario.system_text).expect("a system"));
        let (mut fleet, mut into) = (Fleet::new(&[Arc::clone(&system)], "greywater"), Gathered::default());
        let mut hear = |message: &Message| {
            fleet.take(
                EventTime::from_millis(message.received_ms),
                &message.topic,
                &message.payload,
                &mut into,
            );
            Ok(())
        };
        let truth = simulators::run::run::<ScenarioError>(&scenario, seed, &mut hear, &mut |_| ());
        let dose =
            |(_, effect): (usize, Effect)| if let Effect::Dose(dose) = effect { Some(dose) } else { None };
        let doses = into.effects.into_iter().filter_map(dose).collect();
        Self { scenario, system, doses, truth: truth.expect("it runs") }
    }

    /// Doses told once the yard was known for `days`.
    pub(crate) fn doses_after(&self, days: i64) -> impl Iterator<Item = &Dose> {
        let from = self.scenario.start_ms + Span::days(days).ms();
        self.doses.iter().filter(move |dose| dose.at.millis() > from)
    }
}
