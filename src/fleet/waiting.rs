//! Inputs of a system whose engine is still being prepared.

use std::collections::BTreeSet;
use std::mem;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use crate::engine::Input;
use crate::model::{EventTime, SensorIx};

/// Inputs of one system in order of arrival, until its engine is there to take them in; shared with whoever prepares it.
#[derive(Clone, Debug, Default)]
pub struct Waiting(Arc<Mutex<Vec<(EventTime, Input)>>>);

impl Waiting {
    /// Adds what arrived at `received`.
    pub fn push(&self, received: EventTime, input: Input) {
        self.list().push((received, input));
    }

    /// Leaves out of `inputs` those that wait here.
    pub fn leave_out<T>(&self, inputs: &mut Vec<T>, same: impl Fn(&T, &Input) -> bool) {
        let list = self.list();
        if !list.is_empty() {
            inputs.retain(|one| !list.iter().any(|(_, input)| same(one, input)));
        }
    }

    /// Which readings measured in `from..to` wait.
    pub fn readings_within(&self, from: EventTime, to: EventTime) -> BTreeSet<(EventTime, SensorIx)> {
        let readings = |(_, input): &(EventTime, Input)| match input {
            Input::Reading(reading) if (from..to).contains(&reading.at) => Some((reading.at, reading.sensor)),
            Input::Reading(_) | Input::Tick | Input::SiblingUsed(_) | Input::Command(_) => None,
        };
        self.list().iter().filter_map(readings).collect()
    }

    pub(super) fn count(&self) -> usize {
        self.list().len()
    }

    pub(super) fn take(&self) -> Vec<(EventTime, Input)> {
        mem::take(&mut *self.list())
    }

    fn list(&self) -> MutexGuard<'_, Vec<(EventTime, Input)>> {
        // Pushing and taking leave no half-done list behind.
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}
