//! What a float and the loads of some days say of the floor's resistance.

use serde::{Deserialize, Serialize};

use super::floor::{Floor, Pool, Pulse};
use crate::model::{EventTime, Span};

/// Water may have stood from the day before.
const WARM_UP: Span = Span::DAY;
/// Less standing than this is none, hours: waves and the sensor's own interval.
const NONE_H: f64 = 0.1;
/// Standing that could not have been missed, hours.
const SEEN_H: f64 = 0.25;
/// Resistances to choose from, hours: open sand to a sealed floor.
const LEAST_H: f64 = 0.3;
pub(super) const MOST_H: f64 = 3000.0;
/// Halvings of the range: to about a thousandth.
const HALVINGS: u32 = 14;

/// One day of one basin's float.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) struct Day {
    pub(crate) from: EventTime,
    pub(crate) to: EventTime,
    /// How long water stood at the float.
    pub(crate) stood: Span,
}

/// A resistance, or an upper bound of it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Told {
    pub(crate) log_resistance: f64,
    /// Hours of standing water it rests on; 0 for a bound.
    pub(crate) stood_h: f64,
}

/// The resistance under which `loads` (depths at times) leave water at the float for as long as it stood on
/// the given days; a bound if it never did; none if nothing would have shown.
pub(crate) fn resistance(
    floor: &Floor,
    days: &[Day],
    loads: &(impl Iterator<Item = (EventTime, f64)> + Clone),
) -> Option<Told> {
    let stood_h: f64 = days.iter().map(|day| day.stood.hours_f64()).sum();
    let is_bound = stood_h < NONE_H;
    let wanted = if is_bound { SEEN_H } else { stood_h };
    let stands = |log: f64| standing_h(floor, log.exp(), days, loads.clone());
    let (mut low, mut high) = (LEAST_H.ln(), MOST_H.ln());
    if stands(high) < wanted {
        return None;
    }
    for _ in 0..HALVINGS {
        let middle = 0.5 * (low + high);
        if stands(middle) < wanted {
            low = middle;
        } else {
            high = middle;
        }
    }
    Some(Told { log_resistance: 0.5 * (low + high), stood_h: if is_bound { 0.0 } else { stood_h } })
}

/// How far back the loads must reach for days that begin at `from`.
pub(crate) fn loads_from(from: EventTime) -> EventTime {
    from - WARM_UP
}

/// Hours of standing water on the given days under a resistance.
fn standing_h(
    floor: &Floor,
    resistance_h: f64,
    days: &[Day],
    loads: impl Iterator<Item = (EventTime, f64)>,
) -> f64 {
    let (Some(first), Some(last)) = (days.first(), days.last()) else { return 0.0 };
    let origin = loads_from(first.from);
    let hour = |at: EventTime| (at - origin).hours_f64();
    let mut pool = Pool::empty(0.0);
    let mut total = 0.0;
    let mut count = |from_h: f64, until_h: f64| {
        for day in days {
            total += (until_h.min(hour(day.to)) - from_h.max(hour(day.from))).max(0.0);
        }
    };
    for (at, mm) in loads {
        let stood = pool.receive(floor, resistance_h, Pulse { at_h: hour(at), mm });
        count(stood.until_h - stood.hours, stood.until_h);
    }
    let stood = pool.drain(floor, resistance_h, hour(last.to));
    count(stood.until_h - stood.hours, stood.until_h);
    total
}

/// Logarithm of the resistance under which the loads of a day, and of `hold` after it, just make a flood that began that
/// day and holds; infinite if they never do.
pub(crate) fn bears(
    floor: &Floor,
    from: EventTime,
    hold: Span,
    loads: &(impl Iterator<Item = (EventTime, f64)> + Clone),
) -> f64 {
    let holds = |log: f64| longest_h(floor, log.exp(), from, hold, loads.clone()) >= hold.hours_f64();
    let (mut low, mut high) = (LEAST_H.ln(), MOST_H.ln());
    if !holds(high) {
        return f64::INFINITY;
    }
    for _ in 0..HALVINGS {
        let middle = 0.5 * (low + high);
        if holds(middle) {
            high = middle;
        } else {
            low = middle;
        }
    }
    0.5 * (low + high)
}

/// The longest that the float stays up within a day, or until `hold` after it.
fn longest_h(
    floor: &Floor,
    resistance_h: f64,
    from: EventTime,
    hold: Span,
    loads: impl Iterator<Item = (EventTime, f64)>,
) -> f64 {
    let mut pool = Pool::empty(0.0);
    let mut longest = 0.0_f64;
    for (at, mm) in loads {
        let pulse = Pulse { at_h: (at - from).hours_f64(), mm };
        let stood = pool.receive(floor, resistance_h, pulse);
        longest = longest.max(stood.until_h - stood.since_h);
    }
    let stood = pool.drain(floor, resistance_h, (Span::DAY + hold).hours_f64());
    longest.max(stood.until_h - stood.since_h)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::stories::yard;
    use crate::model::BasinIx;

    fn at(hours: f64) -> EventTime {
        EventTime::from_secs(1_700_000_000) + Span::from_hours_f64(hours)
    }

    fn floor() -> Floor {
        let system = yard();
        Floor::of(system.basin(BasinIx(0)), system.soil, 40.0)
    }

    /// Three loads a day for four days.
    fn loads() -> Vec<(EventTime, f64)> {
        (0..4).flat_map(|day| [7.0, 8.0, 20.0].map(|hour| (at(24.0 * f64::from(day) + hour), 22.0))).collect()
    }

    fn days(stood: impl Fn(&Day) -> Span) -> Vec<Day> {
        let day = |n: i32| {
            let from = at(24.0 * f64::from(n));
            let day = Day { from, to: from + Span::DAY, stood: Span::ZERO };
            Day { stood: stood(&day), ..day }
        };
        (0..4).map(day).collect()
    }

    #[test]
    fn the_resistance_that_made_the_water_stand_is_found() {
        for truth in [4.0, 10.0, 20.0] {
            let alone = |day: &Day| {
                standing_h(&floor(), truth, &[*day], loads().into_iter().filter(|l| l.0 < day.to))
            };
            // Each day by itself, begun with what the day before left.
            let told =
                resistance(&floor(), &days(|day| Span::from_hours_f64(alone(day))), &loads().into_iter());
            let found = told.expect("loads are heavy").log_resistance.exp();
            assert!((found / truth - 1.0).abs() < 0.1, "{truth} {found}");
        }
    }

    #[test]
    fn a_dry_float_bounds_the_resistance_and_light_loads_say_nothing() {
        let told =
            resistance(&floor(), &days(|_| Span::ZERO), &loads().into_iter()).expect("loads are heavy");
        assert!(told.stood_h.abs() < 1e-12 && (1.0..8.0).contains(&told.log_resistance.exp()), "{told:?}");
        let light = [(at(7.0), 1.0)];
        assert_eq!(resistance(&floor(), &days(|_| Span::ZERO), &light.into_iter()), None);
    }

    #[test]
    fn heavier_days_bear_less() {
        let bears = |mm: f64| bears(&floor(), at(0.0), Span::from_hours(6), &[(at(8.0), mm)].into_iter());
        assert!(bears(100.0) < bears(50.0) && bears(50.0) < bears(30.0));
        assert!(bears(5.0).is_infinite());
    }
}
