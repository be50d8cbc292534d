//! When a record was measured.

use std::borrow::Cow;

use super::Refusal;
use super::decoded::Fault;
use crate::model::{EventTime, Span};

/// Sensors' clocks may be ahead of ours by this much.
const AHEAD: Span = Span::from_mins(10);
/// Older records are refused.
const BEHIND: Span = Span::from_days(400);
/// Unix times above this are milliseconds: as seconds they lie beyond the year 5000, as
/// milliseconds they begin in 1973.
const MILLISECONDS_FROM: f64 = 1e11;
/// SenML times below 2^28 s are relative to now (RFC 8428, section 4.5.3).
const RELATIVE_BELOW: f64 = 268_435_456.0;

/// A time as it was written.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum WrittenTime<'a> {
    /// None: the time of arrival counts.
    Arrival,
    /// RFC 3339, or digits.
    Text(Cow<'a, str>),
    /// Unix seconds or milliseconds.
    Unix(f64),
    /// SenML time in seconds.
    Senml(f64),
}

impl WrittenTime<'_> {
    /// The instant meant, if it is believable for a message that arrived at `received`.
    pub(super) fn resolve(&self, received: EventTime) -> Result<EventTime, Fault> {
        let at = match self {
            Self::Arrival => return Ok(received),
            Self::Senml(secs) if *secs < RELATIVE_BELOW => received + seconds(*secs)?,
            Self::Senml(secs) => EventTime::from_millis(0) + seconds(*secs)?,
            Self::Unix(number) => unix(*number)?,
            Self::Text(text) => match text.trim().parse::<EventTime>() {
                Ok(at) => at,
                Err(fault) => unix(text.trim().parse().map_err(|_| (Refusal::BadTime, fault.to_string()))?)?,
            },
        };
        if at > received + AHEAD {
            return Err((Refusal::InFuture, format!("{at} is {} after it arrived", at - received)));
        }
        if at < received - BEHIND {
            return Err((Refusal::TooOld, format!("{at} is {} before it arrived", received - at)));
        }
        Ok(at)
    }
}

fn unix(number: f64) -> Result<EventTime, Fault> {
    let secs = if number.abs() > MILLISECONDS_FROM { number / 1000.0 } else { number };
    Ok(EventTime::from_millis(0) + seconds(secs)?)
}

fn seconds(secs: f64) -> Result<Span, Fault> {
    // Whatever is larger is refused anyway, and stays clear of overflow.
    if secs.abs() < 1e12 {
        Ok(Span::from_millis((secs * 1000.0).round() as i64))
    } else {
        Err((Refusal::BadTime, format!("{secs} is no time")))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const NOW: EventTime = EventTime::from_secs(1_772_352_900);

    #[test]
    fn every_way_of_writing_a_time_is_understood() {
        let text = |t: &'static str| WrittenTime::Text(t.into());
        for written in [
            WrittenTime::Arrival,
            text("2026-03-01T08:15:00Z"),
            text("2026-03-01T01:15:00-07:00"),
            text(" 1772352900 "),
            WrittenTime::Unix(1_772_352_900.0),
            WrittenTime::Unix(1_772_352_900_000.0),
            WrittenTime::Senml(0.0),
            WrittenTime::Senml(1_772_352_900.0),
        ] {
            assert_eq!(written.resolve(NOW), Ok(NOW), "{written:?}");
        }
        assert_eq!(WrittenTime::Senml(-5.5).resolve(NOW), Ok(NOW - Span::from_millis(5500)));
    }

    #[test]
    fn unbelievable_times_are_refused() {
        let reason = |written: WrittenTime<'_>| written.resolve(NOW).unwrap_err().0;
        assert_eq!(reason(WrittenTime::Senml(601.0)), Refusal::InFuture);
        assert!(WrittenTime::Senml(600.0).resolve(NOW).is_ok());
        assert_eq!(reason(WrittenTime::Senml(-400.0 * 86_400.0 - 1.0)), Refusal::TooOld);
        assert!(WrittenTime::Senml(-400.0 * 86_400.0).resolve(NOW).is_ok());
        for bad in ["yesterday", "", "NaN", "1e300"] {
            assert_eq!(reason(WrittenTime::Text(bad.into())), Refusal::BadTime, "{bad}");
        }
        assert_eq!(reason(WrittenTime::Unix(f64::NAN)), Refusal::BadTime);
    }
}
