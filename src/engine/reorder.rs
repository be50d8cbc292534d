//! Readings wait here until the watermark passes them, so that they are applied in event order.

use std::collections::VecDeque;

use serde::{Deserialize, Serialize};

use crate::model::{EventTime, Reading};

/// Readings that may still be overtaken by earlier ones, sorted by time, then sensor.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Reorder {
    waiting: VecDeque<Reading>,
}

impl Reorder {
    /// Keeps `reading`, unless one of the same sensor and time already waits.
    pub(crate) fn insert(&mut self, reading: Reading) {
        let key = |r: &Reading| (r.at, r.sensor);
        // Almost every reading is newer than those waiting, so look from the end.
        let mut place = self.waiting.len();
        while place > 0 {
            let before = &self.waiting[place - 1];
            if key(before) == key(&reading) {
                return;
            }
            if key(before) < key(&reading) {
                break;
            }
            place -= 1;
        }
        self.waiting.insert(place, reading);
    }

    /// Takes the earliest reading if it is not after `watermark`, or if more than `bound` wait.
    pub(crate) fn pop(&mut self, watermark: EventTime, bound: usize) -> Option<Reading> {
        let first = self.waiting.front()?;
        if first.at <= watermark || self.waiting.len() > bound {
            return self.waiting.pop_front();
        }
        None
    }

    /// All waiting readings in event order.
    pub(crate) fn iter(&self) -> impl Iterator<Item = &Reading> {
        self.waiting.iter()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::{SensorIx, Value};

    fn reading(secs: i64, sensor: u16) -> Reading {
        Reading {
            sensor: SensorIx(sensor),
            at: EventTime::from_secs(secs),
            value: Value::Number(secs as f64),
        }
    }

    #[test]
    fn readings_leave_in_event_order_and_once() {
        let mut buffer = Reorder::default();
        for (secs, sensor) in [(30, 0), (10, 1), (20, 0), (10, 0), (20, 0)] {
            buffer.insert(reading(secs, sensor));
        }
        let mut order = Vec::new();
        while let Some(r) = buffer.pop(EventTime::from_secs(25), 99) {
            order.push((r.at.millis() / 1000, r.sensor.0));
        }
        assert_eq!(order, [(10, 0), (10, 1), (20, 0)]);
        assert_eq!(buffer.iter().count(), 1);
    }

    #[test]
    fn a_full_buffer_gives_way_early() {
        let mut buffer = Reorder::default();
        (0..3).for_each(|s| buffer.insert(reading(s, 0)));
        assert!(buffer.pop(EventTime::MIN, 3).is_none());
        assert_eq!(buffer.pop(EventTime::MIN, 2), Some(reading(0, 0)));
    }
}
