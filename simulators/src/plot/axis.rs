//! Scales, and the marks along them.

use jiff::tz::TimeZone;
use jiff::{Timestamp, ToSpan as _};

/// Milliseconds in a day.
const DAY_MS: f64 = 86.4e6;

/// From a value to a place on the page.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Scale {
    pub(super) from: f64,
    pub(super) to: f64,
    pub(super) at_from: f64,
    pub(super) at_to: f64,
}

impl Scale {
    /// The place of a value; what lies outside is drawn at the edge.
    pub(super) fn at(&self, value: f64) -> f64 {
        let part = ((value - self.from) / (self.to - self.from)).clamp(0.0, 1.0);
        self.at_from + part * (self.at_to - self.at_from)
    }

    /// Round values within the scale, about `wanted` of them.
    pub(super) fn ticks(&self, wanted: f64) -> Vec<f64> {
        let step = round_step((self.to - self.from) / wanted);
        let first = (self.from / step).ceil() as i64;
        let last = (self.to / step + 1e-9).floor() as i64;
        (first..=last).map(|i| i as f64 * step).collect()
    }
}

/// The largest of 1, 2 and 5 times a power of ten that is not above `step` by much.
fn round_step(step: f64) -> f64 {
    let power = 10.0_f64.powf(step.max(1e-9).log10().floor());
    let lead = step / power;
    let round = if lead < 1.5 {
        1.0
    } else if lead < 3.5 {
        2.0
    } else if lead < 7.5 {
        5.0
    } else {
        10.0
    };
    round * power
}

/// The first round value at or above `value`, for the end of a scale.
pub(super) fn round_up(value: f64) -> f64 {
    let step = round_step(value / 4.0);
    (value / step).ceil() * step
}

/// Local midnights between two times, a whole number of days apart so that about `wanted` remain, with their names.
pub(super) fn days(zone: &TimeZone, start_ms: i64, end_ms: i64, wanted: f64) -> Vec<(i64, String)> {
    let span_days = (end_ms - start_ms) as f64 / DAY_MS;
    let apart = [1, 2, 7, 14, 28, 56, 91, 182, 365]
        .into_iter()
        .find(|days| span_days / f64::from(*days) <= wanted)
        .unwrap_or(3650);
    let Ok(start) = Timestamp::from_millisecond(start_ms) else { return Vec::new() };
    let mut date = zone.to_datetime(start).date();
    let mut marks = Vec::new();
    loop {
        let Ok(midnight) = zone.to_ambiguous_timestamp(date.at(0, 0, 0, 0)).compatible() else { break };
        let at_ms = midnight.as_millisecond();
        if at_ms > end_ms {
            break;
        }
        if at_ms >= start_ms {
            marks.push((at_ms, date.strftime("%-d %b").to_string()));
        }
        let Ok(next) = date.checked_add(apart.days()) else { break };
        date = next;
    }
    marks
}

#[cfg(test)]
mod tests {
    use jiff::tz::TimeZone;

    use super::{Scale, days, round_up};

    #[test]
    fn marks_are_round_and_inside() {
        let scale = Scale { from: 0.08, to: 0.46, at_from: 0.0, at_to: 1.0 };
        let ticks = scale.ticks(4.0);
        assert_eq!(ticks.len(), 4);
        assert!((ticks[0] - 0.1).abs() < 1e-9 && (ticks[3] - 0.4).abs() < 1e-9);
        assert!((round_up(183.0) - 200.0).abs() < 1e-9);
    }

    #[test]
    fn days_begin_at_local_midnight() {
        let zone = TimeZone::get("America/Denver").unwrap();
        // 2026-03-07T00:00Z to 2026-03-10T00:00Z holds the local midnights of the 7th, 8th and 9th; on the 8th
        // clocks go forward.
        let marks = days(&zone, 1_772_841_600_000, 1_773_100_800_000, 10.0);
        let names: Vec<&str> = marks.iter().map(|(_, name)| name.as_str()).collect();
        assert_eq!(names, ["7 Mar", "8 Mar", "9 Mar"]);
        assert_eq!(marks[2].0 - marks[1].0, 23 * 3_600_000);
    }
}
