//! The fleet itself.

use std::sync::Arc;

use super::Gathered;
use crate::engine::{Engine, Input};
use crate::intake::Router;
use crate::model::{Command, EventTime, Id, System};

/// All systems with their engines, and the router that finds the sensor for a topic.
pub struct Fleet {
    router: Router,
    engines: Vec<Engine>,
}

impl Fleet {
    /// A fleet of systems that have been heard of never before. Topics begin with `prefix`.
    pub fn new(systems: &[Arc<System>], prefix: &str) -> Self {
        Self::with_engines(systems.iter().cloned().map(Engine::new).collect(), prefix)
    }

    /// A fleet whose engines remember.
    pub fn with_engines(engines: Vec<Engine>, prefix: &str) -> Self {
        let systems: Vec<_> = engines.iter().map(|engine| Arc::clone(engine.system())).collect();
        Self { router: Router::new(&systems, prefix), engines }
    }

    /// The engines, in the fleet's order.
    pub fn engines(&self) -> &[Engine] {
        &self.engines
    }

    /// The engines, to go on with in another fleet.
    pub fn into_engines(self) -> Vec<Engine> {
        self.engines
    }

    /// Takes in one message.
    pub fn take(&mut self, received: EventTime, topic: &str, payload: &[u8], into: &mut Gathered) {
        let from = into.decoded.readings.len();
        self.router.decode(received, topic, payload, &mut into.decoded);
        into.messages += 1;
        for at in from..into.decoded.readings.len() {
            let (system, reading) = into.decoded.readings[at];
            let input = Input::Reading(reading);
            self.engines[system].apply(received, &input, &mut into.fresh);
            into.collect_fresh(system);
            into.inputs.push((system, received, input));
        }
    }

    /// Tells the engine of `system` what somebody did; false if there is no such system.
    pub fn tell(&mut self, received: EventTime, system: &Id, command: &Command, into: &mut Gathered) -> bool {
        let Some(at) = self.engines.iter().position(|engine| engine.system().id == *system) else {
            return false;
        };
        let input = Input::Command(Box::new(command.clone()));
        self.engines[at].apply(received, &input, &mut into.fresh);
        into.collect_fresh(at);
        into.inputs.push((at, received, input));
        true
    }

    /// Lets every engine know what time it is. A tick that changes nothing leaves no trace.
    pub fn tick(&mut self, now: EventTime, into: &mut Gathered) {
        for (system, engine) in self.engines.iter_mut().enumerate() {
            engine.apply(now, &Input::Tick, &mut into.fresh);
            if !into.fresh.is_empty() {
                into.collect_fresh(system);
                into.inputs.push((system, now, Input::Tick));
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
