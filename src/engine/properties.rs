//! Properties that hold for every stream of readings.

use std::sync::Arc;

use proptest::prelude::*;

use super::stories::yard;
use super::{Change, Effect, Engine, Input, WATERMARK};
use crate::model::*;

/// One message: minutes since the one before, sensor, value, and how late it arrives (seconds).
type Told = (u8, u16, u8, u16);

fn stream() -> impl Strategy<Value = Vec<Told>> {
    prop::collection::vec((0u8..90, 0u16..13, any::<u8>(), 0u16..290), 1..250)
}

/// The readings in event order, each with its delay.
fn readings(told: &[Told]) -> Vec<(Reading, Span)> {
    let system = yard();
    let mut at = EventTime::from_secs(1_700_000_000);
    let readings = told.iter().enumerate().map(|(i, &(gap, sensor, value, late))| {
        // Millisecond ties would make the order of two sensors a matter of arrival.
        at = at + Span::from_mins(i64::from(gap)) + Span::from_millis(1 + i as i64 % 7);
        let sensor = SensorIx(sensor);
        let quantity = system.sensor(sensor).quantity;
        let (low, high) = quantity.range();
        let number = low + (high.min(100.0) - low) * f64::from(value) / 255.0;
        let value = Value::from_number(quantity, number);
        (Reading { sensor, at, value }, Span::from_secs(i64::from(late)))
    });
    readings.collect()
}

fn end(readings: &[(Reading, Span)]) -> EventTime {
    readings.last().map_or(EventTime::MIN, |(r, _)| r.at + Span::from_days(4))
}

fn run(engine: &mut Engine, arrivals: &[(EventTime, Reading)]) -> Vec<Effect> {
    let mut effects = Vec::new();
    for (received, reading) in arrivals {
        engine.apply(*received, &Input::Reading(*reading), &mut effects);
    }
    effects
}

fn in_order(readings: &[(Reading, Span)]) -> Vec<(EventTime, Reading)> {
    readings.iter().map(|(r, _)| (r.at, *r)).collect()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(300))]

    #[test]
    fn late_repeated_and_reordered_readings_end_in_the_same_state(told in stream(), repeat in any::<u64>()) {
        let readings = readings(&told);
        let mut calm = Engine::new(yard());
        run(&mut calm, &in_order(&readings));

        let mut arrivals: Vec<(EventTime, Reading)> = readings.iter().map(|(r, late)| (r.at + *late, *r)).collect();
        let repeated = readings.iter().enumerate().filter(|(i, _)| repeat >> (i % 64) & 1 == 1);
        arrivals.extend(repeated.map(|(i, (r, _))| (r.at + Span::from_secs(i as i64 * 13 % 4000), *r)));
        arrivals.sort_by_key(|(received, r)| (*received, r.sensor, r.at));
        let mut storm = Engine::new(yard());
        run(&mut storm, &arrivals);

        let end = end(&readings) + WATERMARK;
        calm.finish(end, &mut Vec::new());
        storm.finish(end, &mut Vec::new());
        // As bytes, since a value not heard yet equals nothing, not even itself.
        prop_assert_eq!(calm.snapshot(), storm.snapshot());
    }

    #[test]
    fn ticks_in_between_change_nothing(told in stream(), step_min in 1i64..120) {
        let readings = readings(&told);
        let arrivals = in_order(&readings);
        let mut quiet = Engine::new(yard());
        let mut expected = run(&mut quiet, &arrivals);
        quiet.finish(end(&readings), &mut expected);

        let mut ticking = Engine::new(yard());
        let mut effects = Vec::new();
        let mut clock = arrivals[0].0;
        for (received, reading) in &arrivals {
            while clock < *received {
                ticking.apply(clock, &Input::Tick, &mut effects);
                clock = clock + Span::from_mins(step_min);
            }
            ticking.apply(*received, &Input::Reading(*reading), &mut effects);
        }
        ticking.finish(end(&readings), &mut effects);
        prop_assert_eq!(expected, effects);
        prop_assert_eq!(quiet.snapshot(), ticking.snapshot());
    }

    #[test]
    fn a_snapshot_and_what_came_after_give_the_same_state(told in stream(), cut in 0.0f64..1.0) {
        let readings = readings(&told);
        let arrivals = in_order(&readings);
        let cut = (arrivals.len() as f64 * cut) as usize;
        let mut whole = Engine::new(yard());
        run(&mut whole, &arrivals[..cut]);
        let (mut restored, effects) = Engine::restore(yard(), &whole.snapshot()).unwrap();
        prop_assert!(effects.is_empty());
        let (a, b) = (run(&mut whole, &arrivals[cut..]), run(&mut restored, &arrivals[cut..]));
        prop_assert_eq!(a, b);
        prop_assert_eq!(whole.snapshot(), restored.snapshot());
    }

    #[test]
    fn to_go_on_after_less_than_an_hour_changes_nothing(told in stream(), away_s in 0i64..3600) {
        let mut engine = Engine::new(yard());
        run(&mut engine, &in_order(&readings(&told)));
        let (before, mut effects) = (engine.snapshot(), Vec::new());
        let resumed = engine.resume(engine.passed() + Span::from_secs(away_s), &mut effects);
        prop_assert!(!resumed && effects.is_empty());
        prop_assert_eq!(engine.snapshot(), before);
    }

    #[test]
    fn whatever_was_heard_before_nothing_is_raised_in_the_first_hour_back(told in stream(), away_h in 2i64..2000) {
        let readings = readings(&told);
        let mut engine = Engine::new(yard());
        run(&mut engine, &in_order(&readings));
        let left = readings.last().expect("a reading").0.at;
        engine.finish(left, &mut Vec::new());
        let back = left + Span::from_hours(away_h);
        let (mut restored, _) = Engine::restore(yard(), &engine.snapshot()).unwrap();
        for engine in [&mut engine, &mut restored] {
            prop_assert!(engine.resume(back, &mut Vec::new()));
            prop_assert!(engine.next_due().is_some_and(|(due, _)| due > back), "{:?}", engine.next_due());
        }
        prop_assert_eq!(engine.snapshot(), restored.snapshot());
        let mut effects = Vec::new();
        engine.finish(back + Span::from_mins(59), &mut effects);
        let is_raised = |effect: &&Effect| matches!(effect, Effect::Finding(it) if it.change == Change::Raised);
        prop_assert_eq!(effects.iter().find(is_raised), None);
    }
}

#[test]
fn damaged_snapshots_are_refused() {
    let bytes = Engine::new(yard()).snapshot();
    assert!(Engine::restore(yard(), &bytes[..1]).is_err());
    assert!(Engine::restore(yard(), &bytes[..bytes.len() - 3]).is_err());
    let mut other = bytes.clone();
    other[0] = 0xff;
    assert!(Engine::restore(yard(), &other).is_err());
    for at in 0..bytes.len() {
        let mut flipped = bytes.clone();
        flipped[at] ^= 1 << (at % 8);
        assert!(Engine::restore(yard(), &flipped).is_err(), "byte {at}");
    }
    assert!(Engine::restore(Arc::clone(&yard()), &bytes).is_ok());
}
