//! Days of the local calendar.

use std::fmt;

use jiff::Timestamp;
use jiff::civil::{Date, Weekday};
use jiff::tz::TimeZone;
use serde::{Deserialize, Serialize};

use crate::model::EventTime;

/// A day of the local calendar, as days since 1970-01-01.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Day(pub i64);

impl Day {
    /// The day in `zone` that `at` belongs to.
    pub fn of(at: EventTime, zone: &TimeZone) -> Self {
        Self(at.local_day(zone))
    }

    /// As a date; days beyond the calendar library's range are clamped.
    pub fn date(self) -> Date {
        let span = jiff::Span::new().try_days(self.0).unwrap_or_default();
        Date::constant(1970, 1, 1).saturating_add(span)
    }

    /// When `minutes` of it have passed on the clocks of `zone`.
    pub fn at(self, minutes: u32, zone: &TimeZone) -> EventTime {
        let hour = (minutes / 60).min(23) as i8;
        let time = jiff::civil::time(hour, (minutes % 60) as i8, 0, 0);
        let there = zone.to_timestamp(self.date().to_datetime(time));
        let plain = self.0 * 86_400_000 + i64::from(minutes) * 60_000;
        EventTime::from_millis(there.map_or(plain, Timestamp::as_millisecond))
    }

    /// When `date` begins in `zone`.
    pub(super) fn start_of(date: Date, zone: &TimeZone) -> EventTime {
        let there = zone.to_timestamp(date.at(0, 0, 0, 0));
        EventTime::from_millis(there.map_or(0, Timestamp::as_millisecond))
    }

    /// Its day of the week.
    pub fn weekday(self) -> Weekday {
        self.date().weekday()
    }

    /// The day after `days` more.
    #[must_use]
    pub fn plus(self, days: i64) -> Self {
        Self(self.0.saturating_add(days))
    }
}

/// `Tuesday 3 March 2026`
impl fmt::Display for Day {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.date().strftime("%A %-d %B %Y"))
    }
}
