//! The fleet itself.

use std::collections::BTreeMap;
use std::sync::Arc;

use super::allowance::Allowance;
use super::{Gathered, Waiting};
use crate::engine::{Effect, Engine, Input};
use crate::intake::{Refusal, Router};
use crate::model::{Command, EventTime, Id, System};

/// All systems with their engines, and the router that finds the sensor for a topic.
pub struct Fleet {
    router: Router,
    engines: Vec<Engine>,
    /// Of systems whose engines are still being prepared, what they have to take in.
    absent: BTreeMap<usize, Waiting>,
    /// By system: the others of the same property.
    siblings: Vec<Vec<usize>>,
    allowance: Allowance,
}

impl Fleet {
    /// A fleet of systems that have been heard of never before. Topics begin with `prefix`.
    pub fn new(systems: &[Arc<System>], prefix: &str) -> Self {
        Self::with_engines(systems.iter().cloned().map(Engine::new).collect(), prefix)
    }

    /// A fleet whose engines remember.
    pub fn with_engines(engines: Vec<Engine>, prefix: &str) -> Self {
        let systems: Vec<_> = engines.iter().map(|engine| Arc::clone(engine.system())).collect();
        let mut together: BTreeMap<&Id, Vec<usize>> = BTreeMap::new();
        for (at, system) in systems.iter().enumerate() {
            together.entry(&system.property).or_default().push(at);
        }
        let others = |(own, system): (usize, &Arc<System>)| {
            together[&system.property].iter().copied().filter(|at| *at != own).collect()
        };
        let siblings = systems.iter().enumerate().map(others).collect();
        let allowance = Allowance::of(systems.iter().map(|system| &**system));
        Self { router: Router::new(&systems, prefix), engines, absent: BTreeMap::new(), siblings, allowance }
    }

    /// The engines, in the fleet's order.
    pub fn engines(&self) -> &[Engine] {
        &self.engines
    }

    /// The engines, to go on with in another fleet.
    pub fn into_engines(self) -> Vec<Engine> {
        self.engines
    }

    /// Lets inputs of `system` wait until its engine [joins](Self::join).
    pub fn set_aside(&mut self, system: usize, waiting: Waiting) {
        self.absent.insert(system, waiting);
    }

    /// Whether the engine of `system` is still being prepared.
    pub fn is_absent(&self, system: usize) -> bool {
        self.absent.contains_key(&system)
    }

    /// How many inputs wait for engines that are still being prepared.
    pub fn waiting(&self) -> usize {
        self.absent.values().map(Waiting::count).sum()
    }

    /// Lets `engine`, told that it is `now`, watch `system` from now on; it takes in first what has waited for it.
    pub fn join(&mut self, system: usize, engine: Engine, now: EventTime, into: &mut Gathered) {
        let waited = self.absent.remove(&system).map(|waiting| waiting.take()).unwrap_or_default();
        self.engines[system] = engine;
        for (received, input) in waited.into_iter().chain([(now, Input::Tick)]) {
            self.engines[system].apply(received, &input, &mut into.fresh);
            self.pass_on(system, now, into);
        }
    }

    /// Takes in one message.
    pub fn take(&mut self, received: EventTime, topic: &str, payload: &[u8], into: &mut Gathered) {
        let from = into.decoded.readings.len();
        self.router.decode(received, topic, payload, &mut into.decoded);
        into.messages += 1;
        let mut admitted = from;
        for at in from..into.decoded.readings.len() {
            let (system, reading) = into.decoded.readings[at];
            if self.allowance.admits(system, &reading) {
                into.decoded.readings.swap(admitted, at);
                admitted += 1;
                self.enter(system, received, Input::Reading(reading), into);
            } else {
                let detail = format!("more than its sensor may report, at {}", reading.at);
                into.decoded.refuse(topic, payload, (Refusal::TooOften, detail));
            }
        }
        into.decoded.readings.truncate(admitted);
    }

    /// Tells the engine of `system` what somebody did; false if there is no such system.
    pub fn tell(&mut self, received: EventTime, system: &Id, command: &Command, into: &mut Gathered) -> bool {
        let Some(at) = self.engines.iter().position(|engine| engine.system().id == *system) else {
            return false;
        };
        self.enter(at, received, Input::Command(Box::new(command.clone())), into);
        true
    }

    /// Applies an input, and lets the systems of the same property know of doses that follow from it.
    fn enter(&mut self, system: usize, received: EventTime, input: Input, into: &mut Gathered) {
        if let Some(waiting) = self.absent.get(&system) {
            waiting.push(received, input.clone());
            into.inputs.push((system, received, input));
            return;
        }
        self.engines[system].apply(received, &input, &mut into.fresh);
        into.inputs.push((system, received, input));
        self.pass_on(system, received, into);
    }

    fn pass_on(&mut self, system: usize, received: EventTime, into: &mut Gathered) {
        let last_dose = into.fresh.iter().rev().find_map(|effect| match effect {
            Effect::Dose(dose) if dose.quality > 0.0 => Some(dose.at),
            Effect::Dose(_) | Effect::Finding(_) | Effect::Soak(_) | Effect::Forecast(_) => None,
        });
        into.collect_fresh(system);
        let Some(at) = last_dose else { return };
        for place in 0..self.siblings[system].len() {
            self.enter(self.siblings[system][place], received, Input::SiblingUsed(at), into);
        }
    }

    /// Lets every engine know what time it is. A tick that changes nothing leaves no trace.
    pub fn tick(&mut self, now: EventTime, into: &mut Gathered) {
        for system in 0..self.engines.len() {
            if self.is_absent(system) {
                continue;
            }
            self.engines[system].apply(now, &Input::Tick, &mut into.fresh);
            if !into.fresh.is_empty() {
                into.inputs.push((system, now, Input::Tick));
                self.pass_on(system, now, into);
            }
        }
    }

    /// Brings everything up to `end` to its conclusion.
    pub fn finish(&mut self, end: EventTime, into: &mut Gathered) {
        for (system, engine) in self.engines.iter_mut().enumerate() {
            engine.finish(end, &mut into.fresh);
            into.collect_fresh(system);
        }
    }
}
