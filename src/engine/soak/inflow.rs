//! What came through the system of late: litres by the quarter of an hour.

use std::collections::VecDeque;

use serde::{Deserialize, Serialize};

use crate::model::{EventTime, Span};

/// How far back the loads of a system are remembered: four weeks, so that every weekday counts alike.
pub(crate) const REMEMBERED: Span = Span::from_days(28);
/// Arrivals within this time are one, that comes evenly.
pub(super) const GRAIN: Span = Span::from_mins(15);
/// Arrivals remembered at most; the oldest go first.
const MOST: usize = 1200;

/// Water that came, oldest first.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Inflow {
    arrivals: VecDeque<Arrival>,
    /// Since when loads are known.
    since: Option<EventTime>,
}

/// Litres in one quarter of an hour. Small numbers, since many are kept.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
struct Arrival {
    /// Quarters of an hour since 1970.
    quarter: u32,
    litres: f32,
}

impl Inflow {
    /// Some litres came.
    pub(crate) fn note(&mut self, at: EventTime, litres: f64) {
        let Ok(quarter) = u32::try_from(at.millis().div_euclid(GRAIN.millis())) else { return };
        self.since.get_or_insert(at);
        let litres = litres as f32;
        let place = self.arrivals.partition_point(|arrival| arrival.quarter < quarter);
        match self.arrivals.get_mut(place) {
            Some(arrival) if arrival.quarter == quarter => arrival.litres += litres,
            _ => self.arrivals.insert(place, Arrival { quarter, litres }),
        }
        let oldest = self.arrivals.back().map_or(0, |last| last.quarter.saturating_sub(quarters(REMEMBERED)));
        while self.arrivals.len() > MOST || self.arrivals.front().is_some_and(|a| a.quarter < oldest) {
            self.arrivals.pop_front();
        }
    }

    /// Arrivals in a stretch of time, with their litres, oldest first.
    pub(crate) fn between(
        &self,
        from: EventTime,
        to: EventTime,
    ) -> impl Iterator<Item = (EventTime, f64)> + Clone {
        let first = self.arrivals.partition_point(|arrival| arrival.at() < from);
        self.arrivals
            .range(first..)
            .map(|arrival| (arrival.at(), f64::from(arrival.litres)))
            .take_while(move |(at, _)| *at < to)
    }

    /// Nobody listened until `at`: only from then on are loads known.
    pub(crate) fn unheard_until(&mut self, at: EventTime) {
        self.since = self.since.map(|since| since.max(at));
    }

    /// Since when loads are known, if any came.
    pub(crate) fn since(&self) -> Option<EventTime> {
        self.since
    }
}

impl Arrival {
    fn at(self) -> EventTime {
        EventTime::from_millis(i64::from(self.quarter) * GRAIN.millis())
    }
}

fn quarters(span: Span) -> u32 {
    (span.millis() / GRAIN.millis()) as u32
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(mins: i64) -> EventTime {
        EventTime::from_secs(1_700_000_100 + mins * 60)
    }

    #[test]
    fn arrivals_add_up_in_order_and_the_old_are_forgotten() {
        let mut inflow = Inflow::default();
        for (minute, litres) in [(100, 20.0), (101, 5.0), (0, 8.0), (200, 1.0)] {
            inflow.note(at(minute), litres);
        }
        let litres: Vec<f64> = inflow.between(at(-60), at(400)).map(|(_, litres)| litres).collect();
        assert_eq!(litres, [8.0, 25.0, 1.0]);
        inflow.note(at(200) + REMEMBERED, 3.0);
        let left: Vec<f64> = inflow.between(at(-60), at(60_000)).map(|(_, litres)| litres).collect();
        assert_eq!(left, [1.0, 3.0]);
        (0..5000).for_each(|i| inflow.note(at(15 * i), 1.0));
        assert!(inflow.arrivals.len() <= MOST);
    }

    #[test]
    fn times_before_1970_are_left_out() {
        let mut inflow = Inflow::default();
        inflow.note(EventTime::MIN, 4.0);
        assert_eq!(inflow, Inflow::default());
    }
}
