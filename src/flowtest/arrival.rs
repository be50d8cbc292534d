//! In which order the outlets respond, from readings as they come.

use crate::model::{EventTime, Span};
use crate::stats::robust::median;

/// Readings before the water that show how much a probe scatters.
const CALM: usize = 3;
/// Soil is wetter once it reads this much above the lowest reading of the last two hours, m³/m³, or five times the
/// probe's own scatter. Soil that still drains from a dose before would hide a rise above its level at the beginning.
const LEAST_RISE: f64 = 0.01;
const DEVIATIONS: f64 = 5.0;
/// Standard deviation of a normal error over its median absolute size, 1 / Φ⁻¹(3/4).
const MEDIAN_TO_DEVIATION: f64 = 1.4826;
const LOOK_BACK: Span = Span::from_hours(2);

/// What the sensors of one basin read, in order of time: when and what.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Trace {
    /// Water content, m³/m³.
    pub moisture: Vec<(EventTime, f64)>,
    /// Float: whether it was up.
    pub float: Vec<(EventTime, bool)>,
}

/// The first sign of water in a basin.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Arrival {
    /// Its sensors say so since then.
    Seen(EventTime),
    /// Its sensors read on, and nothing came yet.
    NotYet,
    /// Nothing was read since the water began.
    Unheard,
}

/// When water that began at `began` arrived in a basin. A probe tells no sooner than it reports.
pub fn arrival(trace: &Trace, began: EventTime) -> Arrival {
    let soil = wetter(&trace.moisture, began);
    let was_up = trace.float.iter().rev().find(|(at, _)| *at < began).is_some_and(|(_, up)| *up);
    let float = trace.float.iter().find(|(at, up)| *at >= began && *up && !was_up).map(|(at, _)| *at);
    match soil.into_iter().chain(float).min() {
        Some(at) => Arrival::Seen(at),
        None if trace.moisture.iter().any(|(at, _)| *at >= began)
            || trace.float.iter().any(|(at, _)| *at >= began) =>
        {
            Arrival::NotYet
        }
        None => Arrival::Unheard,
    }
}

fn wetter(moisture: &[(EventTime, f64)], began: EventTime) -> Option<EventTime> {
    let calm = moisture.iter().take_while(|(at, _)| *at < began).count();
    if calm < CALM {
        return None;
    }
    // Successive differences hold the scatter of two readings, and hardly any of a slow drying.
    let mut steps: Vec<f64> = moisture[..calm].windows(2).map(|two| (two[1].1 - two[0].1).abs()).collect();
    let scatter = MEDIAN_TO_DEVIATION * median(&mut steps) / std::f64::consts::SQRT_2;
    let rise = LEAST_RISE.max(DEVIATIONS * scatter);
    let is_wetter = |&at: &usize| {
        let (time, value) = moisture[at];
        let before = moisture[..at].iter().rev().take_while(|(past, _)| time - *past <= LOOK_BACK);
        let lowest = before.map(|(_, value)| *value).fold(f64::INFINITY, f64::min);
        value > lowest + rise
    };
    (calm..moisture.len()).find(is_wetter).map(|at| moisture[at].0)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(minute: i64) -> EventTime {
        EventTime::from_secs(60 * minute)
    }

    fn soil(values: &[f64]) -> Trace {
        let moisture = values.iter().enumerate().map(|(i, value)| (at(5 * i as i64), *value)).collect();
        Trace { moisture, float: Vec::new() }
    }

    #[test]
    fn soil_that_rises_above_its_own_noise_has_water() {
        let trace = soil(&[0.200, 0.202, 0.199, 0.201, 0.204, 0.23, 0.28]);
        assert_eq!(arrival(&trace, at(18)), Arrival::Seen(at(25)));
        assert_eq!(arrival(&soil(&[0.2, 0.21, 0.19, 0.2, 0.205, 0.21]), at(18)), Arrival::NotYet);
        assert_eq!(arrival(&soil(&[0.2, 0.2, 0.2]), at(18)), Arrival::Unheard);
    }

    #[test]
    fn a_rise_out_of_soil_that_still_drains_is_seen() {
        let draining = (0..60).map(|i| 0.39 - 0.001 * f64::from(i));
        let values: Vec<f64> = draining.chain([0.335, 0.34, 0.35, 0.36]).collect();
        assert_eq!(arrival(&soil(&values), at(18)), Arrival::Seen(at(5 * 62)));
        assert_eq!(arrival(&soil(&values[..60]), at(18)), Arrival::NotYet);
    }

    #[test]
    fn a_float_tells_by_rising_not_by_being_up() {
        let with_float = |states: &[(i64, bool)]| {
            let float = states.iter().map(|(minute, up)| (at(*minute), *up)).collect();
            Trace { float, ..Trace::default() }
        };
        assert_eq!(arrival(&with_float(&[(0, false), (20, true)]), at(18)), Arrival::Seen(at(20)));
        assert_eq!(arrival(&with_float(&[(0, true), (20, true)]), at(18)), Arrival::NotYet);
    }
}
