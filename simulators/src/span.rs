//! Lengths of time as people write them: `15min`, `6h`, `20d`.

use std::fmt;

use serde::Deserialize;

/// A length of time in milliseconds; never negative.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Deserialize)]
#[serde(try_from = "String")]
pub struct Span(i64);

/// Why a text is not a length of time.
#[derive(Debug, thiserror::Error)]
#[error("`{0}` is not a length of time: write it like 15min, 6h or 20d")]
pub struct SpanError(String);

impl Span {
    /// A span of whole seconds.
    pub const fn seconds(seconds: i64) -> Self {
        Self(seconds * 1000)
    }

    /// A span of whole minutes.
    pub const fn minutes(minutes: i64) -> Self {
        Self::seconds(minutes * 60)
    }

    /// A span of whole hours.
    pub const fn hours(hours: i64) -> Self {
        Self::minutes(hours * 60)
    }

    /// A span of days of 24 hours.
    pub const fn days(days: i64) -> Self {
        Self::hours(days * 24)
    }

    /// The span of so many milliseconds; nothing for a negative number.
    pub const fn from_ms(ms: i64) -> Self {
        Self(if ms < 0 { 0 } else { ms })
    }

    /// Days of 24 hours it takes, the last one perhaps not whole.
    pub const fn days_begun(self) -> u64 {
        self.0.unsigned_abs().div_ceil(Self::days(1).0.unsigned_abs())
    }

    /// The length in milliseconds.
    pub const fn ms(self) -> i64 {
        self.0
    }
}

impl TryFrom<String> for Span {
    type Error = SpanError;

    fn try_from(text: String) -> Result<Self, SpanError> {
        let day_long = jiff::SpanRelativeTo::days_are_24_hours();
        text.parse::<jiff::Span>()
            .and_then(|span| span.total((jiff::Unit::Millisecond, day_long)))
            .ok()
            .filter(|ms| *ms >= 0.0)
            .map(|ms| Self(ms.round() as i64))
            .ok_or(SpanError(text))
    }
}

impl fmt::Display for Span {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        const UNITS: [(i64, &str); 4] = [(86_400_000, "d"), (3_600_000, "h"), (60_000, "min"), (1000, "s")];
        let (size, name) =
            UNITS.into_iter().find(|(size, _)| self.0 != 0 && self.0 % size == 0).unwrap_or((1, "ms"));
        write!(f, "{}{name}", self.0 / size)
    }
}
