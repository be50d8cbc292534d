//! The beat of a sensor that says from time to time that nothing has changed.

use serde::{Deserialize, Serialize};

use crate::model::{EventTime, Span};

/// Gaps agree within this part of the period.
const TOLERANCE: f64 = 0.015;
/// So many more gaps for a period than against it make it known; no more than these are counted.
const KNOWN: u8 = 10;
const MOST: u8 = 50;
/// Reports nearer to each other are one, told twice.
const TWICE: Span = Span::from_mins(2);

/// How often reports repeat the one before them, and when they last did.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Beat {
    period: Span,
    /// Gaps for the period less those against it: the majority vote of Boyer and Moore (1981; from memory).
    votes: u8,
    last: Option<EventTime>,
}

impl Beat {
    /// Takes a report at `at`; `before` is when the one before it came, and whether it said the same. Says whether this
    /// one repeats it, but out of turn.
    pub(super) fn note(&mut self, at: EventTime, before: Option<(EventTime, bool)>) -> bool {
        let Some((before, true)) = before else { return false };
        let gap = at - before;
        if gap < TWICE {
            return false;
        }
        let is_off = self.votes >= KNOWN
            && !self.is_turn(gap)
            && self.last.is_some_and(|last| !self.is_turn(at - last));
        if self.is_near(gap, 1.0) {
            self.votes = self.votes.saturating_add(1).min(MOST);
        } else if self.votes == 0 {
            (self.period, self.votes) = (gap, 1);
        } else {
            self.votes -= 1;
        }
        if !is_off {
            self.last = Some(at);
        }
        is_off
    }

    /// Whether a gap is a whole number of periods.
    fn is_turn(&self, gap: Span) -> bool {
        let turns = (gap.hours_f64() / self.period.hours_f64()).round();
        turns >= 1.0 && self.is_near(gap, turns)
    }

    fn is_near(&self, gap: Span, turns: f64) -> bool {
        (gap.hours_f64() - turns * self.period.hours_f64()).abs() <= TOLERANCE * self.period.hours_f64()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(minutes: i64) -> EventTime {
        EventTime::from_secs(60 * minutes)
    }

    /// A report each six hours, of which some are lost.
    fn heard() -> (Beat, i64) {
        let (mut beat, mut before) = (Beat::default(), 0);
        for turn in (1..60).filter(|turn| turn % 7 != 3) {
            assert!(!beat.note(at(turn * 360), Some((at(before), true))), "{turn}");
            before = turn * 360;
        }
        (beat, before)
    }

    #[test]
    fn a_report_out_of_turn_is_told_from_one_that_is_late_by_whole_turns() {
        let (beat, before) = heard();
        for (minutes, is_off) in [(360, false), (724, false), (130, true), (500, true), (1, false)] {
            let mut next = beat;
            assert_eq!(next.note(at(before + minutes), Some((at(before), true))), is_off, "{minutes}");
        }
    }

    #[test]
    fn after_a_change_the_beat_may_go_on_or_begin_anew() {
        let (beat, before) = heard();
        let change = before + 130;
        for (minutes, is_off) in [(230, false), (360, false), (100, true)] {
            let mut next = beat;
            assert_eq!(next.note(at(change + minutes), Some((at(change), true))), is_off, "{minutes}");
        }
    }

    #[test]
    fn without_a_beat_nothing_is_out_of_turn() {
        let (mut beat, mut before) = (Beat::default(), 0);
        for i in 1..200 {
            let now = before + 20 + (i * 7919) % 400;
            assert!(!beat.note(at(now), Some((at(before), true))), "{i}");
            before = now;
        }
    }
}
