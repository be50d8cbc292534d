//! What a float and the loads of some days say of the floor's resistance.

use serde::{Deserialize, Serialize};

use super::floor::Floor;
use super::inflow::GRAIN;
use super::pool::{HoursUp, Load, Pool};
use crate::model::{EventTime, Span};

/// Water may have stood from days before.
const WARM_UP: Span = Span::from_days(3);
/// Less standing than this is none, hours: waves and the sensor's own interval.
const NONE_H: f64 = 0.1;
/// Standing that could not have been missed, hours.
const SEEN_H: f64 = 0.25;
/// Resistances to choose from, hours: open sand to a sealed floor.
const LEAST_H: f64 = 0.3;
pub(super) const MOST_H: f64 = 3000.0;
/// Halvings of the range: to about a thousandth.
const HALVINGS: u32 = 14;
/// How much larger and smaller loads are tried, to see how much hangs on them; how far that can change a resistance to
/// speak of (logarithm), and halvings of that range.
const TRIED: f64 = 0.1;
const FAR: f64 = 2.0;
const FEW_HALVINGS: u32 = 7;

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
    /// By how much the logarithm falls for each unit of the logarithm of the loads, if those were larger than believed.
    /// Water that stood for days makes it about 1; a float that was barely reached, many times that.
    pub(crate) per_load: f64,
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
    let under = |times: f64, range, halvings| {
        let loads = loads.clone().map(move |(at, mm)| (at, times * mm));
        least(range, halvings, |log| standing_h(floor, log.exp(), days, loads.clone()) >= wanted)
    };
    let (low, high) = (LEAST_H.ln(), MOST_H.ln());
    let log_resistance = under(1.0, (low, high), HALVINGS)?;
    let (lower, higher) = ((log_resistance - FAR).max(low), (log_resistance + FAR).min(high));
    let if_less = under(1.0 - TRIED, (log_resistance, higher), FEW_HALVINGS).unwrap_or(higher);
    let if_more = under(1.0 + TRIED, (lower, log_resistance), FEW_HALVINGS).unwrap_or(log_resistance);
    let per_load = (if_less - if_more) / ((1.0 + TRIED) / (1.0 - TRIED)).ln();
    Some(Told { log_resistance, stood_h: if is_bound { 0.0 } else { stood_h }, per_load })
}

/// Logarithm within a range of the least resistance that does something; none if none does.
fn least((mut low, mut high): (f64, f64), halvings: u32, does: impl Fn(f64) -> bool) -> Option<f64> {
    if !does(high) {
        return None;
    }
    for _ in 0..halvings {
        let middle = 0.5 * (low + high);
        if does(middle) {
            high = middle;
        } else {
            low = middle;
        }
    }
    Some(0.5 * (low + high))
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
    let mut count = |stood: HoursUp| {
        for day in days {
            total += (stood.until.min(hour(day.to)) - stood.from.max(hour(day.from))).max(0.0);
        }
    };
    for load in loads.map(load(origin)) {
        count(pool.drain(floor, resistance_h, load.from_h).stood);
        count(pool.fill(floor, resistance_h, load).stood);
    }
    count(pool.drain(floor, resistance_h, hour(last.to)).stood);
    total
}

/// Depths that come evenly over the grain in which they are remembered, by the hours since `origin`.
pub(super) fn load(origin: EventTime) -> impl Fn((EventTime, f64)) -> Load {
    move |(at, mm)| Load { from_h: (at - origin).hours_f64(), hours: GRAIN.hours_f64(), mm }
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
    least((LEAST_H.ln(), MOST_H.ln()), HALVINGS, holds).unwrap_or(f64::INFINITY)
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
    let mut count = |stood: HoursUp| longest = longest.max(stood.until - stood.since);
    for load in loads.map(load(from)) {
        count(pool.drain(floor, resistance_h, load.from_h).stood);
        count(pool.fill(floor, resistance_h, load).stood);
    }
    count(pool.drain(floor, resistance_h, (Span::DAY + hold).hours_f64()).stood);
    longest
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
        for truth in [8.0, 15.0, 30.0] {
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
    fn the_less_water_stood_the_more_hangs_on_the_loads() {
        let per_load = |stood_h: f64| {
            let days = days(|_| Span::from_hours_f64(stood_h));
            let told = resistance(&floor(), &days, &loads().into_iter()).expect("loads are heavy");
            // What it says: under loads a tenth larger, the resistance found is lower by so much.
            let more = loads().into_iter().map(|(at, mm)| (at, 1.1 * mm));
            let under_more = resistance(&floor(), &days, &more).expect("loads are heavy").log_resistance;
            let falls = (told.log_resistance - under_more) / 1.1_f64.ln();
            assert!((falls / told.per_load - 1.0).abs() < 0.4, "{stood_h} {falls} {told:?}");
            told.per_load
        };
        assert!(per_load(0.3) > 1.5 * per_load(12.0), "{} {}", per_load(0.3), per_load(12.0));
    }

    #[test]
    fn heavier_days_bear_less() {
        let bears = |mm: f64| bears(&floor(), at(0.0), Span::from_hours(6), &[(at(8.0), mm)].into_iter());
        assert!(bears(100.0) < bears(50.0) && bears(50.0) < bears(30.0));
        assert!(bears(5.0).is_infinite());
    }
}
