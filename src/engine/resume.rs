//! An engine that goes on after nobody listened for a while: silence meant nothing then.
//!
//! What was heard before stays as it was heard: what has been learnt, and the findings that stand until something is
//! heard that ends them. What was under way is broken off, and everything that waits does so anew.

use std::sync::Arc;

use super::board::Spot;
use super::day::Day;
use super::signal::SHORTEST_PATIENCE;
use super::{Effect, Engine};
use crate::model::{BasinIx, EventTime, FindingKind};

impl Engine {
    /// Nobody listened from when its time stopped until `at`: the engine goes on there, and neither learns from what it
    /// did not hear nor claims anything of it. Says whether that was long enough to matter: it is not if no sensor could
    /// have been missed, and then nothing changes. Nor does it for an engine that never heard anything.
    pub fn resume(&mut self, at: EventTime, out: &mut Vec<Effect>) -> bool {
        let waiting = self.state.reorder.iter().map(|reading| reading.at).filter(|heard| *heard <= at);
        let last = waiting.max();
        let from = self.state.now.max(last.unwrap_or(EventTime::MIN));
        let has_heard = self.state.first_heard.is_some() || last.is_some();
        if !has_heard || at - from < SHORTEST_PATIENCE {
            return false;
        }
        self.conclude_heard(at, out);
        self.wait_anew(from, at);
        true
    }

    /// Takes in what was heard, and believes falls that were.
    fn conclude_heard(&mut self, until: EventTime, out: &mut Vec<Effect>) {
        while let Some(reading) = self.state.reorder.pop(until, usize::MAX) {
            self.run_deadlines(reading.at, out);
            self.absorb(&reading, reading.at, out);
        }
        for sensor in self.system.sensor_ixs() {
            let float = self.state.sensors[sensor.0 as usize].float_mut();
            if let Some((due, event)) = float.and_then(|float| {
                let due = float.due()?;
                Some((due, float.settle(due)?))
            }) {
                self.on_float(sensor, event, due, out);
            }
        }
    }

    fn wait_anew(&mut self, from: EventTime, at: EventTime) {
        let (system, state) = (Arc::clone(&self.system), &mut self.state);
        for (sensor, watch) in system.sensor_ixs().zip(&mut state.sensors) {
            let is_stuck = state.board.stands(FindingKind::SensorStuck, Spot::Sensor(sensor));
            watch.unheard_until(system.sensor(sensor).quantity, at, is_stuck);
        }
        state.basins.iter_mut().for_each(|basin| basin.unheard_until(at));
        state.sewer.unheard_until(at, &state.board);
        state.usage.unheard_until(at, &state.board);
        state.doses.unheard_until(&system, at);
        state.soak.unheard(from, at);
        state.day = state.day.map(|_| Day::beginning(at, &system.zone));
        state.first_heard = state.first_heard.max(Some(at));
        state.now = state.now.max(at);
        state.wake = EventTime::MIN;
    }

    /// A float of `basin` is heard to be down that was not known to be: what stands told of water there may end, unless
    /// its lower float was not heard yet.
    pub(super) fn is_down(&mut self, basin: BasinIx, at: EventTime) {
        let tells = [FindingKind::Flooding, FindingKind::Ponding];
        let is_told = tells.iter().any(|&kind| self.state.board.stands(kind, Spot::Basin(basin)));
        let lower = self.layout.basins[basin.0 as usize].float;
        let lower = lower.and_then(|sensor| self.state.sensors[sensor.0 as usize].float());
        if is_told && lower.is_none_or(|float| float.last().is_some()) {
            self.state.basins[basin.0 as usize].is_dry(at);
        }
    }
}
