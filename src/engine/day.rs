//! The day by which habits are counted: from four in the morning on the clock of the yard, when most water has
//! soaked away and nobody showers.

use serde::{Deserialize, Serialize};

use jiff::tz::TimeZone;

use crate::model::{EventTime, Span};

/// When a day begins after local midnight: at four, or an hour off on the two days when clocks change.
const BEGINS: Span = Span::from_hours(4);
/// No local day is longer.
const LONGEST: Span = Span::from_hours(26);

/// A day under way.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct Day {
    /// Days since 1970 by the local calendar.
    pub(crate) number: i64,
    pub(crate) from: EventTime,
    pub(crate) to: EventTime,
}

impl Day {
    /// The day that is under way at `at`, as far as it is left.
    pub(crate) fn beginning(at: EventTime, zone: &TimeZone) -> Self {
        let number_at = |at: EventTime| (at - BEGINS).local_day(zone);
        let number = number_at(at);
        let (mut low, mut high) = (at, at + LONGEST);
        while high - low > Span::SECOND {
            let middle = low + (high - low).scaled(0.5);
            if number_at(middle) == number {
                low = middle;
            } else {
                high = middle;
            }
        }
        // Local days turn at whole minutes; halving ends just above.
        let to = EventTime::from_millis(high.millis() / 60_000 * 60_000);
        Self { number, from: at, to: to.max(at + Span::SECOND) }
    }

    /// The day after.
    pub(crate) fn next(&self, zone: &TimeZone) -> Self {
        Self::beginning(self.to, zone)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn days_turn_at_four_on_the_clock_of_the_yard_whatever_the_season() {
        let zone = TimeZone::get("America/Denver").expect("a known zone");
        let mut day = Day::beginning("2026-03-06T20:00:00Z".parse().expect("a time"), &zone);
        let ends: Vec<String> = (0..3)
            .map(|_| {
                let end = day.to.to_string();
                day = day.next(&zone);
                end
            })
            .collect();
        // Clocks go forward on 8 March 2026 in the United States; that day turns four hours after midnight.
        assert_eq!(ends, ["2026-03-07T11:00:00Z", "2026-03-08T11:00:00Z", "2026-03-09T10:00:00Z"]);
        let first = Day::beginning("2026-03-06T20:00:00Z".parse().expect("a time"), &zone);
        assert_eq!(first.next(&zone).number, first.number + 1);
    }
}
