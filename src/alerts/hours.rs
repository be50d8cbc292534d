//! Hours of the day on somebody's own clock.

use std::str::FromStr;

use jiff::ToSpan;
use jiff::civil::{DateTime, Time, Weekday};
use jiff::tz::TimeZone;

use crate::model::EventTime;

/// From one time of day up to another, over midnight if the second is earlier. Both are what the clock on the wall
/// shows, so a night with a change of clocks is an hour shorter or longer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Hours {
    from: Time,
    to: Time,
}

impl Hours {
    /// Whether `at` lies within, on a clock in `zone`.
    pub fn contains(&self, at: EventTime, zone: &TimeZone) -> bool {
        let time = local(at, zone).time();
        if self.from <= self.to {
            self.from <= time && time < self.to
        } else {
            self.from <= time || time < self.to
        }
    }
}

/// `22:00-06:30`
impl FromStr for Hours {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let fault = || format!("`{text}` is not a stretch of the day such as \"22:00-06:30\"");
        let (from, to) = text.split_once('-').ok_or_else(fault)?;
        let hours = Self { from: time(from).ok_or_else(fault)?, to: time(to).ok_or_else(fault)? };
        if hours.from == hours.to { Err(fault()) } else { Ok(hours) }
    }
}

/// A time of day such as `07:30`.
pub fn time(text: &str) -> Option<Time> {
    let (hour, minute) = text.trim().split_once(':')?;
    let two = |digits: &str| (digits.len() == 2).then(|| digits.parse().ok()).flatten();
    Time::new(two(hour)?, two(minute)?, 0, 0).ok()
}

fn local(at: EventTime, zone: &TimeZone) -> DateTime {
    zone.to_datetime(at.timestamp())
}

/// The last time up to `now` that a clock in `zone` showed `time`, on `day` or any day. A time that a change of
/// clocks leaves out counts when the clock jumps over it (RFC 5545, section 3.3.5, reads it so).
pub(super) fn last_at(now: EventTime, zone: &TimeZone, time: Time, day: Option<Weekday>) -> EventTime {
    times((-7..=0).rev(), (now, zone), time, day).find(|at| *at <= now).unwrap_or(EventTime::MIN)
}

/// As [`last_at`], the first time from `now` on.
pub(super) fn next_at(now: EventTime, zone: &TimeZone, time: Time, day: Option<Weekday>) -> EventTime {
    times(0..=8, (now, zone), time, day).find(|at| *at >= now).unwrap_or(EventTime::MAX)
}

/// When a clock in `zone` shows `time` on the days that lie `ahead` of that of `now`, as far as they are `day`.
fn times(
    ahead: impl Iterator<Item = i64>,
    (now, zone): (EventTime, &TimeZone),
    time: Time,
    day: Option<Weekday>,
) -> impl Iterator<Item = EventTime> {
    let today = local(now, zone).date();
    ahead
        .filter_map(move |days| today.checked_add(days.days()).ok())
        .filter(move |date| day.is_none_or(|day| date.weekday() == day))
        .filter_map(move |date| zone.to_timestamp(date.to_datetime(time)).ok())
        .map(|at| EventTime::from_millis(at.as_millisecond()))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(text: &str) -> EventTime {
        text.parse().unwrap()
    }

    fn zone(name: &str) -> TimeZone {
        TimeZone::get(name).unwrap()
    }

    /// IANA time zone database: clocks in America/Denver go from 02:00 to 03:00 on 2026-03-08 and from 02:00
    /// back to 01:00 on 2026-11-01 (second Sunday of March, first of November).
    #[test]
    fn a_night_follows_the_clock_on_the_wall_across_its_changes() {
        let (night, denver) = ("22:00-06:30".parse::<Hours>().unwrap(), zone("America/Denver"));
        for (utc, quiet) in [
            ("2026-03-08T04:59:00Z", false), // 21:59 MST
            ("2026-03-08T05:00:00Z", true),  // 22:00 MST
            ("2026-03-08T12:29:00Z", true),  // 06:29 MDT, an hour earlier than the day before
            ("2026-03-08T12:30:00Z", false), // 06:30 MDT
            ("2026-11-01T04:00:00Z", true),  // 22:00 MDT
            ("2026-11-01T12:30:00Z", true),  // 05:30 MST
            ("2026-11-01T13:29:00Z", true),  // 06:29 MST
            ("2026-11-01T13:30:00Z", false), // 06:30 MST
        ] {
            assert_eq!(night.contains(at(utc), &denver), quiet, "{utc}");
        }
    }

    #[test]
    fn a_digest_at_a_time_that_the_clock_jumps_over_comes_right_after() {
        let time = time("02:30").unwrap();
        let last = last_at(at("2026-03-08T20:00:00Z"), &zone("America/Denver"), time, None);
        assert_eq!(last, at("2026-03-08T09:30:00Z")); // 03:30 MDT
    }

    #[test]
    fn a_weekly_time_is_the_last_such_day() {
        let last = |now| last_at(at(now), &TimeZone::UTC, time("08:00").unwrap(), Some(Weekday::Monday));
        assert_eq!(last("2026-11-25T10:00:00Z"), at("2026-11-23T08:00:00Z")); // 2026-11-25 is a Wednesday
        assert_eq!(last("2026-11-23T07:59:00Z"), at("2026-11-16T08:00:00Z"));
        let next = |now| next_at(at(now), &TimeZone::UTC, time("08:00").unwrap(), Some(Weekday::Monday));
        assert_eq!(next("2026-11-25T10:00:00Z"), at("2026-11-30T08:00:00Z"));
        assert_eq!(next("2026-11-23T08:00:00Z"), at("2026-11-23T08:00:00Z"));
        assert_eq!(next("2026-11-23T08:00:01Z"), at("2026-11-30T08:00:00Z"));
    }

    #[test]
    fn what_is_no_stretch_of_the_day_is_refused() {
        for text in ["", "22-6", "22:00", "22:00-22:00", "25:00-06:00", "7:00-08:00", "22:00-06:60"] {
            assert!(text.parse::<Hours>().is_err(), "{text}");
        }
    }
}
