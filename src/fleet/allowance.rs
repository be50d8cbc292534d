//! How often a sensor may report.
//!
//! Nothing in a yard changes faster than these sensors need to say once a second; one that reports a thousand times
//! is broken or hostile, and would fill the disk. The measure is the sensors' own time, so that a gateway may hand over
//! a month at once. Where a sensor does not say the time, what comes at once counts as measured at once; then the
//! reserve has to do.

use crate::model::{EventTime, Reading, SensorIx, System};

/// Readings that a sensor may have sent ahead of its allowance.
const RESERVE: f32 = 600.0;
/// Readings a second in the long run: one, and as much again for clocks that jump about.
const A_SECOND: f32 = 2.0;

/// What every sensor of a fleet may still report.
#[derive(Debug, Default)]
pub(super) struct Allowance {
    systems: Vec<Vec<Sensor>>,
}

#[derive(Clone, Debug)]
struct Sensor {
    last: EventTime,
    left: f32,
}

impl Allowance {
    pub(super) fn of<'s>(systems: impl Iterator<Item = &'s System>) -> Self {
        let sensors = |system: &System| {
            let fresh = Sensor { last: EventTime::MIN, left: RESERVE };
            vec![fresh; system.sensor_ixs().map(|SensorIx(at)| usize::from(at) + 1).max().unwrap_or(0)]
        };
        Self { systems: systems.map(sensors).collect() }
    }

    /// Whether the reading is within the allowance of its sensor, which it uses up.
    pub(super) fn admits(&mut self, system: usize, reading: &Reading) -> bool {
        let sensor = self.systems.get_mut(system).and_then(|it| it.get_mut(usize::from(reading.sensor.0)));
        let Some(sensor) = sensor else { return true };
        // Backwards counts as well: what was stored comes in any order.
        let passed_s = reading.at.millis().abs_diff(sensor.last.millis()) as f32 / 1000.0;
        sensor.last = reading.at;
        sensor.left = (sensor.left + passed_s * A_SECOND).min(RESERVE);
        let admitted = sensor.left >= 1.0;
        if admitted {
            sensor.left -= 1.0;
        }
        admitted
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::{Span, Value};

    fn yard() -> System {
        let text = "id = \"yard\"\nname = \"Yard\"\ntimezone = \"UTC\"\nsoil = \"loam\"\n\
                    [[basin]]\nid = \"quince\"\narea_m2 = 1.2\nfloat = {}\nmoisture = {}\n";
        crate::systemfile::parse("yard.toml", text).expect("a plain file")
    }

    /// How many of `count` readings `every` so often are admitted.
    fn admitted(allowance: &mut Allowance, sensor: u16, count: i64, every: Span) -> usize {
        let start = EventTime::from_secs(1_772_323_200);
        let at = |i: i64| EventTime::from_millis(start.millis() + i * every.millis());
        let reading = |i| Reading { sensor: SensorIx(sensor), at: at(i), value: Value::Number(0.3) };
        (0..count).filter(|i| allowance.admits(0, &reading(*i))).count()
    }

    #[test]
    fn a_thousand_a_second_come_down_to_two_and_nobody_else_is_limited() {
        let yard = yard();
        let mut allowance = Allowance::of([&yard].into_iter());
        let taken = admitted(&mut allowance, 0, 60_000, Span::from_millis(1));
        assert!((600..=600 + 2 * 60 + 1).contains(&taken), "{taken}");
        assert_eq!(admitted(&mut allowance, 1, 3600, Span::from_millis(1000)), 3600);
    }

    #[test]
    fn a_month_at_once_is_no_haste_in_either_direction() {
        let yard = yard();
        let mut allowance = Allowance::of([&yard].into_iter());
        for every in [Span::from_mins(5), Span::from_mins(-5), Span::from_millis(1000)] {
            assert_eq!(admitted(&mut allowance, 0, 8640, every), 8640);
        }
    }

    #[test]
    fn what_waited_at_the_broker_without_times_is_taken_up_to_the_reserve() {
        let yard = yard();
        let mut allowance = Allowance::of([&yard].into_iter());
        assert_eq!(admitted(&mut allowance, 0, 1000, Span::from_millis(0)), 600);
    }
}
