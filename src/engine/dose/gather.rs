//! Joins activity at the source and in the basins into doses.

use std::collections::VecDeque;

use serde::{Deserialize, Serialize};

use crate::engine::signal::Wetting;
use crate::model::{EventTime, Span};

/// Activity this close together is one dose: showers one after the other cannot be told apart.
const JOIN: Span = Span::from_mins(60);
/// A dose is cut after this time, however much goes on.
const LONGEST: Span = Span::from_hours(8);
/// A meter may be read this long after a probe has shown the water.
const SLACK: Span = Span::from_mins(60);
/// A dose is not finished sooner than this after its last activity: a wetting may still show.
const SETTLES: Span = Span::from_mins(90);
/// Whatever wettings are still open this long after the last activity are not waited for.
const PATIENCE: Span = Span::from_hours(12);
/// Doses that may wait for their wettings at one time.
const WAITING: usize = 4;
/// Rain this long before a dose, or during it, touches it.
const RAIN_LINGERS: Span = Span::from_hours(3);

/// Doses that are not finished.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Gathering {
    waiting: VecDeque<Gathered>,
    last_rain: Option<EventTime>,
}

/// One dose as far as it is known.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Gathered {
    pub(super) began: EventTime,
    pub(super) last: EventTime,
    /// Longest gap that still belongs to it.
    join: Span,
    /// Litres that the meter counted.
    pub(super) metered: f64,
    pub(super) rain: bool,
    /// By basin.
    pub(super) responses: Vec<Response>,
}

/// What one basin's probe showed of a dose.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Response {
    pub(super) wettings: u8,
    /// Water gained, m³/m³, and its variance.
    pub(super) gained: f64,
    pub(super) variance: f64,
    /// The gain is a lower bound.
    pub(super) censored: bool,
    /// Logarithm of the delay over the probe's usual one, of the last wetting.
    pub(super) slowness: Option<f64>,
}

impl Gathering {
    /// Something happened at `at` that belongs to a dose; `usual_gap` is the longest usual gap between
    /// readings in this system.
    pub(super) fn active(&mut self, at: EventTime, usual_gap: Span, basins: usize) -> &mut Gathered {
        let join = JOIN.max(usual_gap.scaled(1.5));
        let joins = self.waiting.back().is_some_and(|dose| {
            at <= dose.last + dose.join && at - dose.began <= LONGEST && at >= dose.began - SLACK
        });
        if !joins {
            if self.waiting.len() == WAITING {
                self.waiting.pop_front();
            }
            let rain = self.last_rain.is_some_and(|rain| at - rain <= RAIN_LINGERS);
            let responses = vec![Response::default(); basins];
            self.waiting.push_back(Gathered { began: at, last: at, join, metered: 0.0, rain, responses });
        }
        let dose = self.waiting.back_mut().expect("one was pushed if there was none");
        dose.began = dose.began.min(at);
        dose.last = dose.last.max(at);
        dose
    }

    /// A wetting is over: it belongs to the latest dose that was under way when it began.
    pub(super) fn wetted(&mut self, basin: usize, wetting: &Wetting) {
        let begun = |dose: &&mut Gathered| dose.covers(wetting.began);
        let Some(dose) = self.waiting.iter_mut().rev().find(begun) else { return };
        let response = &mut dose.responses[basin];
        response.wettings = response.wettings.saturating_add(1);
        response.gained += wetting.gained.value;
        response.variance += wetting.gained.variance;
        response.censored |= wetting.censored;
        response.slowness = wetting.slowness.or(response.slowness);
    }

    /// The gauge counted rain.
    pub(super) fn rained(&mut self, at: EventTime) {
        self.last_rain = self.last_rain.max(Some(at));
        for dose in &mut self.waiting {
            dose.rain |= at >= dose.began - RAIN_LINGERS && at <= dose.last + RAIN_LINGERS;
        }
    }

    /// When the first dose may be finished if nothing else happens, or at the latest.
    pub(super) fn due(&self, open: impl Fn(&Gathered) -> bool) -> Option<EventTime> {
        let first = self.waiting.front()?;
        Some(if open(first) { first.last + PATIENCE } else { first.last + first.join.max(SETTLES) })
    }

    /// Takes the first dose if it is finished: nothing more can join it and no wetting of it is open.
    pub(super) fn take(&mut self, now: EventTime, open: impl Fn(&Gathered) -> bool) -> Option<Gathered> {
        let due = self.due(open)?;
        if now < due {
            return None;
        }
        self.waiting.pop_front()
    }
}

impl Gathered {
    /// Whether a wetting that began at `began` is this dose's.
    pub(super) fn covers(&self, began: EventTime) -> bool {
        began >= self.began - SLACK && began <= self.last + self.join
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::interval::Estimate;

    fn at(mins: i64) -> EventTime {
        EventTime::from_secs(mins * 60)
    }

    fn wetting(began: i64, gained: f64) -> Wetting {
        Wetting {
            began: at(began),
            peaked: at(began + 30),
            delay: Span::from_mins(20),
            slowness: None,
            ended: at(began + 120),
            before: 0.2,
            peak: 0.2 + gained,
            amplitude: gained,
            gained: Estimate { value: gained, variance: 1e-6 },
            censored: false,
        }
    }

    #[test]
    fn activity_close_together_is_one_dose() {
        let mut gathering = Gathering::default();
        gathering.active(at(0), Span::ZERO, 2).metered += 40.0;
        gathering.active(at(40), Span::ZERO, 2).metered += 20.0;
        gathering.active(at(200), Span::ZERO, 2);
        gathering.wetted(0, &wetting(20, 0.03));
        gathering.wetted(1, &wetting(205, 0.05));
        let first = gathering.take(at(150), |_| false).unwrap();
        assert!((first.metered - 60.0).abs() < 1e-9);
        assert_eq!((first.responses[0].wettings, first.responses[1].wettings), (1, 0));
        assert_eq!(gathering.take(at(150), |_| false), None);
        let second = gathering.take(at(290), |_| false).unwrap();
        assert_eq!(second.responses[1].wettings, 1);
    }

    #[test]
    fn an_open_wetting_is_waited_for_but_not_for_ever() {
        let mut gathering = Gathering::default();
        gathering.active(at(0), Span::ZERO, 1);
        assert_eq!(gathering.due(|_| true), Some(at(12 * 60)));
        assert_eq!(gathering.take(at(100), |_| true), None);
        assert!(gathering.take(at(12 * 60), |_| true).is_some());
    }

    #[test]
    fn rain_before_and_during_touches_a_dose() {
        let mut gathering = Gathering::default();
        gathering.rained(at(0));
        assert!(gathering.active(at(100), Span::ZERO, 1).rain);
        assert!(!gathering.active(at(1000), Span::ZERO, 1).rain);
        gathering.rained(at(1010));
        assert!(gathering.active(at(1015), Span::ZERO, 1).rain);
    }
}
