//! Steps of the calendar in the yard's own zone.

use jiff::ToSpan;
use jiff::civil::{DateTime, Weekday};
use jiff::tz::TimeZone;

use crate::desk::sheet::Stretch;
use crate::model::{EventTime, Span};

/// A step of the calendar.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Grain {
    /// So many hours, counted from midnight.
    Hours(i8),
    Day,
    /// From Monday.
    Week,
    Month,
    Year,
}

impl Grain {
    /// The step whose rows of a table are few enough to read.
    pub(super) fn to_read(length: Span) -> Self {
        match length {
            length if length <= Span::from_days(2) => Self::Hours(1),
            length if length <= Span::from_days(92) => Self::Day,
            _ => Self::Month,
        }
    }

    /// The step whose bars stand beside each other without touching.
    pub(super) fn to_see(length: Span) -> Self {
        match length {
            length if length <= Span::from_days(2) => Self::Hours(1),
            length if length <= Span::from_days(10) => Self::Hours(6),
            length if length <= Span::from_days(92) => Self::Day,
            length if length <= Span::from_days(3 * 366) => Self::Week,
            _ => Self::Month,
        }
    }

    /// The step that an axis is marked with.
    pub(super) fn to_mark(length: Span) -> Self {
        match length {
            length if length <= Span::from_hours(8) => Self::Hours(1),
            length if length <= Span::from_hours(36) => Self::Hours(3),
            length if length <= Span::from_days(3) => Self::Hours(12),
            length if length <= Span::from_days(12) => Self::Day,
            length if length <= Span::from_days(92) => Self::Week,
            length if length <= Span::from_days(3 * 366) => Self::Month,
            _ => Self::Year,
        }
    }

    fn floor(self, local: DateTime) -> DateTime {
        let midnight = local.date().to_datetime(jiff::civil::Time::midnight());
        match self {
            Self::Hours(hours) => midnight
                .with()
                .hour(local.hour() / hours * hours)
                .build()
                .expect("an hour not after one that exists"),
            Self::Day => midnight,
            Self::Week => {
                midnight.saturating_sub(i64::from(midnight.weekday().since(Weekday::Monday)).days())
            }
            Self::Month => midnight.first_of_month(),
            Self::Year => midnight.first_of_year(),
        }
    }

    fn after(self, edge: DateTime) -> DateTime {
        edge.saturating_add(match self {
            Self::Hours(hours) => i64::from(hours).hours(),
            Self::Day => 1.day(),
            Self::Week => 1.week(),
            Self::Month => 1.month(),
            Self::Year => 1.year(),
        })
    }
}

/// Edges of the steps of `grain` from the last one not after the stretch's beginning to the first one
/// not before its end.
pub(super) fn edges(stretch: &Stretch, zone: &TimeZone, grain: Grain) -> Vec<EventTime> {
    let mut edges = Vec::new();
    let mut civil = grain.floor(stretch.from.timestamp().to_zoned_datetime(zone.clone()).datetime());
    loop {
        let Ok(zoned) = civil.to_zoned_datetime(zone.clone()) else { return edges };
        let at = EventTime::from_millis(zoned.timestamp().as_millisecond());
        // Where clocks are turned back, a step may end before it began.
        if edges.last().is_none_or(|last| *last < at) {
            edges.push(at);
        }
        let next = grain.after(civil);
        if at >= stretch.to || next == civil {
            return edges;
        }
        civil = next;
    }
}

/// The same, with the first and last edge moved to the ends of the stretch.
pub(super) fn clipped(stretch: &Stretch, zone: &TimeZone, grain: Grain) -> Vec<EventTime> {
    let mut edges = edges(stretch, zone, grain);
    for edge in &mut edges {
        *edge = (*edge).clamp(stretch.from, stretch.to);
    }
    edges.dedup();
    edges
}

/// Edges of the columns of a drawing.
pub(super) fn columns(stretch: &Stretch) -> Vec<EventTime> {
    let step = stretch.step();
    let mut edges = Vec::new();
    let mut at = stretch.from;
    while at < stretch.to {
        edges.push(at);
        at = at + step;
    }
    edges.push(stretch.to);
    edges
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(text: &str) -> EventTime {
        text.parse().unwrap()
    }

    /// Clocks in Denver went forward on 8 March 2026 at 02:00 (IANA time zone database, rule US).
    #[test]
    fn days_begin_at_midnight_in_the_yard() {
        let zone = TimeZone::get("America/Denver").unwrap();
        let stretch = Stretch::between(at("2026-03-07T12:00:00Z"), at("2026-03-09T12:00:00Z"));
        let days: Vec<String> = edges(&stretch, &zone, Grain::Day).iter().map(ToString::to_string).collect();
        assert_eq!(
            days,
            ["2026-03-07T07:00:00Z", "2026-03-08T07:00:00Z", "2026-03-09T06:00:00Z", "2026-03-10T06:00:00Z"]
        );
        assert_eq!(clipped(&stretch, &zone, Grain::Day)[0], stretch.from);
        assert_eq!(clipped(&stretch, &zone, Grain::Day).last(), Some(&stretch.to));
    }

    #[test]
    fn weeks_begin_on_monday() {
        let stretch = Stretch::between(at("2026-03-04T12:00:00Z"), at("2026-03-20T12:00:00Z"));
        let weeks = edges(&stretch, &TimeZone::UTC, Grain::Week);
        assert_eq!(weeks[0], at("2026-03-02T00:00:00Z"));
        assert_eq!(weeks.len(), 4);
    }
}
