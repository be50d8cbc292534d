//! Local days: the household and the sun live by the yard's clock.

use jiff::civil::Date;
use jiff::tz::TimeZone;
use jiff::{Timestamp, ToSpan as _};

/// One day of the yard's calendar.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct LocalDay {
    /// Days since 1970-01-01.
    pub(crate) number: i64,
    /// Its midnight (Unix ms).
    pub(crate) start_ms: i64,
    /// The next midnight (Unix ms); a day of 23 or 25 hours is possible.
    pub(crate) end_ms: i64,
    /// Day of the year, from 1.
    pub(crate) day_of_year: f64,
    /// Saturday or Sunday.
    pub(crate) weekend: bool,
}

const EPOCH: Date = Date::constant(1970, 1, 1);

impl LocalDay {
    /// The day that holds a moment.
    pub(crate) fn holding(zone: &TimeZone, t_ms: i64) -> Self {
        Self::of(zone, zone.to_datetime(timestamp(t_ms)).date())
    }

    /// The day after.
    pub(crate) fn next(self, zone: &TimeZone) -> Self {
        // Noon of the next day is never a gap in the clock.
        Self::holding(zone, self.end_ms + 12 * 3_600_000)
    }

    /// Hours since its midnight.
    pub(crate) fn hour(&self, t_ms: i64) -> f64 {
        (t_ms - self.start_ms) as f64 / 3.6e6
    }

    fn of(zone: &TimeZone, date: Date) -> Self {
        let midnight = |date: Date| {
            let at = zone.to_ambiguous_timestamp(date.at(0, 0, 0, 0)).compatible();
            at.map_or(0, Timestamp::as_millisecond)
        };
        let tomorrow = date.saturating_add(1.day());
        Self {
            number: days_since_epoch(date),
            start_ms: midnight(date),
            end_ms: midnight(tomorrow),
            day_of_year: f64::from(date.day_of_year()),
            weekend: date.weekday().to_monday_zero_offset() >= 5,
        }
    }
}

/// Days from 1970-01-01 to a date.
pub(crate) fn days_since_epoch(date: Date) -> i64 {
    (date - EPOCH).get_days().into()
}

fn timestamp(t_ms: i64) -> Timestamp {
    Timestamp::from_millisecond(t_ms).unwrap_or(Timestamp::UNIX_EPOCH)
}
