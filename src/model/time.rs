//! Instants and spans of event time, in whole milliseconds.

use std::fmt;
use std::ops::{Add, AddAssign, Sub};
use std::str::FromStr;

use jiff::{Timestamp, tz::TimeZone};
use serde::{Deserialize, Deserializer, Serialize, Serializer};

/// An instant, in milliseconds since 1970-01-01T00:00:00Z.
///
/// Serialises as a number in binary formats and as RFC 3339 in human-readable ones.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct EventTime(i64);

/// A length of time, in milliseconds; may be negative.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Span(i64);

/// A text that is no RFC 3339 instant.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("`{text}` is not a time such as 2026-03-01T08:15:00Z")]
pub struct TimeFault {
    text: String,
}

impl EventTime {
    /// Earliest instant; older than anything that happens.
    pub const MIN: Self = Self(i64::MIN / 4);
    /// Latest instant; later than anything that happens.
    pub const MAX: Self = Self(i64::MAX / 4);

    /// From milliseconds since 1970.
    pub const fn from_millis(millis: i64) -> Self {
        Self(millis)
    }

    /// From seconds since 1970.
    pub const fn from_secs(secs: i64) -> Self {
        Self(secs * 1000)
    }

    /// Milliseconds since 1970.
    pub const fn millis(self) -> i64 {
        self.0
    }

    /// As a timestamp of the calendar library; times outside its range are clamped.
    pub fn timestamp(self) -> Timestamp {
        Timestamp::from_millisecond(self.0).unwrap_or(if self.0 < 0 {
            Timestamp::MIN
        } else {
            Timestamp::MAX
        })
    }

    /// Civil day number in `zone` (days since 1970-01-01 of the local calendar).
    pub fn local_day(self, zone: &TimeZone) -> i64 {
        let offset = zone.to_offset(self.timestamp());
        (self.0 + i64::from(offset.seconds()) * 1000).div_euclid(Span::DAY.0)
    }
}

impl Span {
    /// No time.
    pub const ZERO: Self = Self(0);
    /// One second.
    pub const SECOND: Self = Self(1000);
    /// One minute.
    pub const MINUTE: Self = Self(60_000);
    /// One hour.
    pub const HOUR: Self = Self(3_600_000);
    /// One day of 24 hours.
    pub const DAY: Self = Self(86_400_000);

    /// From milliseconds.
    pub const fn from_millis(millis: i64) -> Self {
        Self(millis)
    }
    /// From seconds.
    pub const fn from_secs(secs: i64) -> Self {
        Self(secs * 1000)
    }
    /// From minutes.
    pub const fn from_mins(mins: i64) -> Self {
        Self(mins * 60_000)
    }
    /// From hours.
    pub const fn from_hours(hours: i64) -> Self {
        Self(hours * 3_600_000)
    }
    /// From hours with a fraction, rounded to the millisecond.
    pub fn from_hours_f64(hours: f64) -> Self {
        Self((hours * 3_600_000.0).round() as i64)
    }
    /// From days of 24 hours.
    pub const fn from_days(days: i64) -> Self {
        Self(days * 86_400_000)
    }
    /// Milliseconds.
    pub const fn millis(self) -> i64 {
        self.0
    }
    /// Seconds with a fraction.
    pub fn secs_f64(self) -> f64 {
        self.0 as f64 / 1000.0
    }
    /// Minutes with a fraction.
    pub fn mins_f64(self) -> f64 {
        self.0 as f64 / 60_000.0
    }
    /// Hours with a fraction.
    pub fn hours_f64(self) -> f64 {
        self.0 as f64 / 3_600_000.0
    }
    /// Days with a fraction.
    pub fn days_f64(self) -> f64 {
        self.0 as f64 / 86_400_000.0
    }
    /// This span times a factor, rounded to the millisecond.
    #[must_use]
    pub fn scaled(self, factor: f64) -> Self {
        Self((self.0 as f64 * factor).round() as i64)
    }
}

impl fmt::Display for EventTime {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.0 % 1000 == 0 {
            write!(f, "{:.0}", self.timestamp())
        } else {
            write!(f, "{:.3}", self.timestamp())
        }
    }
}

impl FromStr for EventTime {
    type Err = TimeFault;
    fn from_str(text: &str) -> Result<Self, TimeFault> {
        text.parse::<Timestamp>()
            .map(|t| Self(t.as_millisecond()))
            .map_err(|_| TimeFault { text: text.chars().take(64).collect() })
    }
}

/// A span in the largest units that read well: `45 s`, `12 min`, `6.5 h`, `3.2 days`.
impl fmt::Display for Span {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (value, unit) = match self.0.abs() {
            0..=89_999 => (self.secs_f64(), "s"),
            90_000..=5_399_999 => (self.mins_f64(), "min"),
            5_400_000..=172_799_999 => (self.hours_f64(), "h"),
            _ => (self.days_f64(), "days"),
        };
        let rounded = (value * 10.0).round() / 10.0;
        write!(f, "{rounded} {unit}")
    }
}

/// A positive span written as number and unit, `"90s"`, `"15m"`, `"6h"` or `"2d"`.
impl FromStr for Span {
    type Err = String;
    fn from_str(text: &str) -> Result<Self, String> {
        let fault = || format!("`{text}` is not a span such as \"90s\", \"15m\", \"6h\" or \"2d\"");
        let text_end = text.find(|c: char| c.is_alphabetic() || c == ' ').ok_or_else(fault)?;
        let number: f64 = text[..text_end].parse().map_err(|_| fault())?;
        let unit = match text[text_end..].trim() {
            "s" => Self::SECOND,
            "m" | "min" => Self::MINUTE,
            "h" => Self::HOUR,
            "d" => Self::DAY,
            _ => return Err(fault()),
        };
        if !(0.0..=1e6).contains(&number) {
            return Err(fault());
        }
        Ok(unit.scaled(number))
    }
}

impl Serialize for EventTime {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        if serializer.is_human_readable() {
            serializer.collect_str(self)
        } else {
            serializer.serialize_i64(self.0)
        }
    }
}

impl<'de> Deserialize<'de> for EventTime {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        if deserializer.is_human_readable() {
            String::deserialize(deserializer)?.parse().map_err(serde::de::Error::custom)
        } else {
            i64::deserialize(deserializer).map(Self)
        }
    }
}

impl Add<Span> for EventTime {
    type Output = Self;
    fn add(self, span: Span) -> Self {
        Self(self.0.saturating_add(span.0))
    }
}

impl Sub<Span> for EventTime {
    type Output = Self;
    fn sub(self, span: Span) -> Self {
        Self(self.0.saturating_sub(span.0))
    }
}

impl Sub for EventTime {
    type Output = Span;
    fn sub(self, earlier: Self) -> Span {
        Span(self.0.saturating_sub(earlier.0))
    }
}

impl Add for Span {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self(self.0.saturating_add(other.0))
    }
}

impl AddAssign for Span {
    fn add_assign(&mut self, other: Self) {
        *self = *self + other;
    }
}

impl Sub for Span {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        Self(self.0.saturating_sub(other.0))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_instant_reads_and_writes_rfc_3339() {
        let at: EventTime = "2026-03-01T08:15:00Z".parse().unwrap();
        assert_eq!(at.millis(), 1_772_352_900_000);
        assert_eq!(at.to_string(), "2026-03-01T08:15:00Z");
        assert_eq!((at + Span::from_millis(5)).to_string(), "2026-03-01T08:15:00.005Z");
        let offset: EventTime = "2026-03-01T09:15:00+01:00".parse().unwrap();
        assert_eq!(offset, at);
        assert!("yesterday".parse::<EventTime>().is_err());
    }

    #[test]
    fn a_span_reads_its_unit() {
        assert_eq!("6h".parse::<Span>(), Ok(Span::from_hours(6)));
        assert_eq!("1.5 d".parse::<Span>(), Ok(Span::from_hours(36)));
        assert!("6".parse::<Span>().is_err());
        assert!("-2h".parse::<Span>().is_err());
        assert_eq!(Span::from_mins(390).to_string(), "6.5 h");
    }

    #[test]
    fn the_local_day_turns_at_local_midnight() {
        let zone = TimeZone::get("America/Denver").unwrap();
        let before: EventTime = "2026-01-02T06:59:59Z".parse().unwrap();
        assert_eq!((before + Span::SECOND).local_day(&zone), before.local_day(&zone) + 1);
    }
}
