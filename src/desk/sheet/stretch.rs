//! A stretch of time to look at, and how the address says it.

use crate::ledger::Resolution;
use crate::model::{EventTime, Span};

/// Columns that a drawing has at most.
const COLUMNS: i64 = 400;
/// Shortest stretch that can be looked at.
const SHORTEST: Span = Span::HOUR;
/// Longest one.
const LONGEST: Span = Span::from_days(20 * 366);
/// Room before the first thing to see, as a part of the time after it.
const ROOM: f64 = 0.04;
/// Up to this length every reading is looked at.
const RAW_UP_TO: Span = Span::from_days(2);
/// Up to this length, hours are.
const HOURS_UP_TO: Span = Span::from_days(100);

/// Widths that columns may have, minutes.
const STEPS_MIN: [i64; 14] = [1, 2, 5, 10, 15, 30, 60, 120, 180, 360, 720, 1440, 2880, 10_080];

/// A usual stretch, ending now.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Range {
    /// 24 hours.
    Day,
    /// 7 days.
    Week,
    /// 30 days.
    Month,
    /// 365 days.
    Year,
    /// Since the first reading.
    All,
}

/// From when to when.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stretch {
    /// Its beginning.
    pub from: EventTime,
    /// Its end, after the beginning.
    pub to: EventTime,
    /// The usual stretch that it is, if it ends now.
    pub last: Option<Range>,
}

impl Range {
    /// Every usual stretch, shortest first.
    pub const ALL: [Self; 5] = [Self::Day, Self::Week, Self::Month, Self::Year, Self::All];

    /// The word for it in addresses and on pages.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Day => "day",
            Self::Week => "week",
            Self::Month => "month",
            Self::Year => "year",
            Self::All => "all",
        }
    }

    /// The range called `name`.
    pub fn named(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|range| range.name() == name)
    }

    /// How long it is, if that does not depend on the system.
    const fn length(self) -> Option<Span> {
        match self {
            Self::Day => Some(Span::DAY),
            Self::Week => Some(Span::from_days(7)),
            Self::Month => Some(Span::from_days(30)),
            Self::Year => Some(Span::from_days(365)),
            Self::All => None,
        }
    }
}

impl Stretch {
    /// The range that ends `now`, to the next full column, for a system first heard at `heard_since`.
    pub fn last(range: Range, heard_since: EventTime, now: EventTime) -> Self {
        let length = range.length().unwrap_or(now - heard_since).clamp(SHORTEST, LONGEST);
        let step = step(length).millis();
        let to = EventTime::from_millis((now.millis() + step).div_euclid(step) * step);
        Self { from: to - length, to, last: Some(range) }
    }

    /// Between two instants, brought into order and to a sensible length around their middle.
    pub fn between(one: EventTime, other: EventTime) -> Self {
        let (from, to) = (one.min(other), one.max(other));
        let length = (to - from).clamp(SHORTEST, LONGEST);
        let from = from + (to - from).scaled(0.5) - length.scaled(0.5);
        Self { from, to: from + length, last: None }
    }

    /// The part of it from `first` on, with a little room before; all of it where nothing is `first`.
    #[must_use]
    pub fn since(&self, first: Option<EventTime>) -> Self {
        let Some(first) = first.filter(|first| *first < self.to) else { return *self };
        let length = (self.to - first).max(SHORTEST);
        let from = (self.to - length.scaled(1.0 + ROOM)).max(self.from);
        Self { from, to: self.to, last: self.last.filter(|_| from == self.from) }
    }

    /// How long it is.
    pub fn length(&self) -> Span {
        self.to - self.from
    }

    /// Width of a column of a drawing.
    pub fn step(&self) -> Span {
        step(self.length())
    }

    /// How finely to read the ledger for it.
    pub fn resolution(&self) -> Resolution {
        match self.length() {
            length if length <= RAW_UP_TO => Resolution::Raw,
            length if length <= HOURS_UP_TO => Resolution::Hour,
            _ => Resolution::Day,
        }
    }

    /// Moved by a part of its length; negative is earlier.
    #[must_use]
    pub fn moved(&self, part: f64) -> Self {
        let by = self.length().scaled(part);
        Self { from: self.from + by, to: self.to + by, last: None }
    }

    /// Longer or shorter by a factor. What ends now goes on ending there.
    #[must_use]
    pub fn scaled(&self, factor: f64) -> Self {
        let length = self.length().scaled(factor);
        let end = if self.last.is_some() { self.to } else { self.to + (length - self.length()).scaled(0.5) };
        Self::between(end - length, end)
    }

    /// Where `at` lies on it: 0 at its beginning, 1 at its end.
    pub fn place(&self, at: EventTime) -> f64 {
        (at - self.from).millis() as f64 / self.length().millis() as f64
    }

    /// How the address says it: `range=week`, `from=2026-03-01T00:00:00Z&to=2026-03-02T00:00:00Z`.
    pub fn query(&self) -> String {
        match self.last {
            Some(range) => format!("range={}", range.name()),
            None => format!("from={}&to={}", whole(self.from), whole(self.to)),
        }
    }
}

fn step(length: Span) -> Span {
    let fits = |minutes: &i64| length.millis() <= Span::from_mins(*minutes).millis() * COLUMNS;
    let widest = STEPS_MIN[STEPS_MIN.len() - 1];
    Span::from_mins(STEPS_MIN.into_iter().find(fits).unwrap_or(widest))
}

/// To the second.
fn whole(at: EventTime) -> EventTime {
    EventTime::from_secs(at.millis().div_euclid(1000))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(text: &str) -> EventTime {
        text.parse().unwrap()
    }

    #[test]
    fn a_usual_stretch_ends_with_the_column_under_way() {
        let now = at("2026-03-09T12:07:00Z");
        let week = Stretch::last(Range::Week, EventTime::MIN, now);
        assert_eq!((week.step(), week.to), (Span::from_mins(30), at("2026-03-09T12:30:00Z")));
        assert_eq!(week.query(), "range=week");
        let all = Stretch::last(Range::All, at("2024-03-09T12:00:00Z"), now);
        assert_eq!(all.resolution(), Resolution::Day);
        assert!(all.length().millis() / all.step().millis() <= COLUMNS);
    }

    #[test]
    fn the_address_leads_back_to_the_stretch() {
        let day = Stretch::between(at("2026-03-02T00:00:00Z"), at("2026-03-01T00:00:00Z"));
        assert_eq!(day.query(), "from=2026-03-01T00:00:00Z&to=2026-03-02T00:00:00Z");
        assert_eq!(day.moved(-0.5).query(), "from=2026-02-28T12:00:00Z&to=2026-03-01T12:00:00Z");
        assert_eq!(day.scaled(0.5).query(), "from=2026-03-01T06:00:00Z&to=2026-03-01T18:00:00Z");
        assert_eq!(day.scaled(1e-9).length(), SHORTEST);
    }
}
