//! What may happen to an alert, and what becomes of it.

use super::{Closing, Deed, Stage};
use crate::model::{EventTime, Severity, Span};

/// Longest that a system can be muted at a time.
pub const LONGEST_MUTE: Span = Span::from_hours(12);
/// Longest snooze.
const LONGEST_SNOOZE: Span = Span::from_days(90);
/// Longest note or reason, characters.
const LONGEST_TEXT: usize = 2_000;

/// Something that happens to an alert.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Act {
    /// Its finding was raised, once more.
    Raise {
        /// If its alert was closed no longer ago than this, that alert opens again; else another one does.
        returns_within: Span,
    },
    /// Its finding changed.
    Change {
        /// How severe it was.
        from: Severity,
        /// How severe it is.
        to: Severity,
    },
    /// Its finding cleared.
    Clear,
    /// The time of a snooze may be up.
    Wake,
    /// A person takes care of it.
    Acknowledge,
    /// A person wants to hear of it later.
    Snooze {
        /// When.
        until: EventTime,
    },
    /// A person takes back that it was acknowledged or snoozed.
    Withdraw,
    /// A person closes it.
    Close {
        /// Why.
        reason: String,
    },
    /// A person opens it again.
    Reopen {
        /// Why; may be empty.
        reason: String,
    },
    /// A person notes something.
    Note {
        /// What.
        text: String,
    },
}

/// What an act led to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Taken {
    /// A step, and where the alert stands after it.
    Step(Stage, Deed),
    /// Nothing had to change.
    Nothing,
    /// The finding returned too late for this alert: it needs a new one.
    Anew,
}

/// Why a person's act is refused.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Refusal {
    /// It is over already.
    #[error("this alert is closed: reopen it first")]
    Closed,
    /// It is not over.
    #[error("this alert is not closed, so it cannot be reopened")]
    NotClosed,
    /// Nobody took it on or put it off.
    #[error("nobody has acknowledged or snoozed this alert: there is nothing to take back")]
    NotTaken,
    /// Nothing is said where something must be.
    #[error("say why, in a few words")]
    Empty,
    /// Too much is said.
    #[error("that is more than {LONGEST_TEXT} characters: shorten it")]
    TooLong,
    /// A snooze that is over before it begins.
    #[error("{0} has passed already: name a later time")]
    Past(EventTime),
    /// A snooze without a foreseeable end.
    #[error("{0} is more than 90 days away: name an earlier time")]
    TooFar(EventTime),
}

impl Stage {
    /// What `act` of `by` at `at` makes of an alert that stands here.
    ///
    /// # Errors
    /// Acts of people may be refused; those of the program never are.
    pub fn take(&self, at: EventTime, by: &str, act: &Act) -> Result<Taken, Refusal> {
        let open = |deed| Ok(Taken::Step(Self::Open { since: at }, deed));
        match act {
            Act::Raise { returns_within } => Ok(self.raise(at, *returns_within)),
            Act::Change { from, to } => Ok(self.change(at, *from, *to)),
            Act::Clear => Ok(match self {
                Self::Closed { .. } => Taken::Nothing,
                Self::Open { .. } | Self::Acknowledged { .. } | Self::Snoozed { .. } => {
                    Taken::Step(Self::Closed { at, how: Closing::Cleared }, Deed::Cleared)
                }
            }),
            Act::Wake => match self {
                Self::Snoozed { until, .. } if *until <= at => open(Deed::Woke),
                Self::Snoozed { .. }
                | Self::Open { .. }
                | Self::Acknowledged { .. }
                | Self::Closed { .. } => Ok(Taken::Nothing),
            },
            Act::Acknowledge => match self {
                Self::Closed { .. } => Err(Refusal::Closed),
                Self::Acknowledged { .. } => Ok(Taken::Nothing),
                Self::Open { .. } | Self::Snoozed { .. } => {
                    Ok(Taken::Step(Self::Acknowledged { at, by: by.to_owned() }, Deed::Acknowledged))
                }
            },
            Act::Snooze { until } => self.snooze(at, by, *until),
            Act::Withdraw => match self {
                Self::Acknowledged { .. } | Self::Snoozed { .. } => open(Deed::Withdrawn),
                Self::Open { .. } => Err(Refusal::NotTaken),
                Self::Closed { .. } => Err(Refusal::Closed),
            },
            Act::Close { reason } => {
                if self.is_closed() {
                    return Err(Refusal::Closed);
                }
                let reason = said(reason)?;
                let how = Closing::Dismissed { by: by.to_owned(), reason: reason.clone() };
                Ok(Taken::Step(Self::Closed { at, how }, Deed::Closed { reason }))
            }
            Act::Reopen { reason } => {
                if !self.is_closed() {
                    return Err(Refusal::NotClosed);
                }
                fits(reason)?;
                open(Deed::Reopened { reason: reason.trim().to_owned() })
            }
            Act::Note { text } => Ok(Taken::Step(self.clone(), Deed::Noted { text: said(text)? })),
        }
    }

    fn raise(&self, at: EventTime, returns_within: Span) -> Taken {
        match self {
            Self::Closed { at: closed, .. } if at - *closed > returns_within => Taken::Anew,
            Self::Closed { .. } => Taken::Step(Self::Open { since: at }, Deed::Returned),
            Self::Open { .. } | Self::Acknowledged { .. } | Self::Snoozed { .. } => Taken::Nothing,
        }
    }

    fn change(&self, at: EventTime, from: Severity, to: Severity) -> Taken {
        if to < from && !self.is_closed() {
            return Taken::Step(self.clone(), Deed::Eased { to });
        }
        if to <= from {
            return Taken::Nothing;
        }
        // Whoever acknowledged, snoozed or closed it did so with a lesser trouble in mind.
        let stage = match self {
            Self::Open { since } => Self::Open { since: *since },
            Self::Acknowledged { .. } | Self::Snoozed { .. } | Self::Closed { .. } => {
                Self::Open { since: at }
            }
        };
        Taken::Step(stage, Deed::Worsened { to })
    }

    fn snooze(&self, at: EventTime, by: &str, until: EventTime) -> Result<Taken, Refusal> {
        if self.is_closed() {
            return Err(Refusal::Closed);
        }
        if until <= at {
            return Err(Refusal::Past(until));
        }
        if until - at > LONGEST_SNOOZE {
            return Err(Refusal::TooFar(until));
        }
        Ok(Taken::Step(Self::Snoozed { until, by: by.to_owned() }, Deed::Snoozed { until }))
    }
}

/// The text without space around it, if it says something and not too much.
fn said(text: &str) -> Result<String, Refusal> {
    fits(text)?;
    let text = text.trim();
    if text.is_empty() { Err(Refusal::Empty) } else { Ok(text.to_owned()) }
}

fn fits(text: &str) -> Result<(), Refusal> {
    if text.chars().count() > LONGEST_TEXT { Err(Refusal::TooLong) } else { Ok(()) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn at(minute: i64) -> EventTime {
        EventTime::from_secs(minute * 60)
    }

    fn step(stage: &Stage, minute: i64, act: &Act) -> (Stage, Deed) {
        match stage.take(at(minute), "ana", act) {
            Ok(Taken::Step(stage, deed)) => (stage, deed),
            other => panic!("{stage:?} {act:?}: {other:?}"),
        }
    }

    #[test]
    fn an_alert_goes_through_people_and_ends_when_its_finding_does() {
        let open = Stage::Open { since: at(0) };
        let (acknowledged, _) = step(&open, 5, &Act::Acknowledge);
        assert_eq!(acknowledged, Stage::Acknowledged { at: at(5), by: "ana".into() });
        assert_eq!(acknowledged.take(at(6), "ben", &Act::Acknowledge), Ok(Taken::Nothing));
        let (closed, deed) = step(&acknowledged, 90, &Act::Clear);
        assert_eq!((closed, deed), (Stage::Closed { at: at(90), how: Closing::Cleared }, Deed::Cleared));
    }

    #[test]
    fn what_returns_within_a_day_reopens_and_later_it_is_another_alert() {
        let closed = Stage::Closed { at: at(0), how: Closing::Cleared };
        assert_eq!(step(&closed, 24 * 60, &Act::Raise { returns_within: Span::DAY }).1, Deed::Returned);
        assert_eq!(
            closed.take(at(24 * 60 + 1), "", &Act::Raise { returns_within: Span::DAY }),
            Ok(Taken::Anew)
        );
    }

    #[test]
    fn turning_worse_opens_what_was_acknowledged_for_less() {
        let worse = Act::Change { from: Severity::Warning, to: Severity::Critical };
        for stage in [
            Stage::Acknowledged { at: at(0), by: "ana".into() },
            Stage::Snoozed { until: at(99), by: "ana".into() },
            Stage::Closed { at: at(0), how: Closing::Dismissed { by: "ana".into(), reason: "known".into() } },
        ] {
            assert_eq!(step(&stage, 7, &worse).0, Stage::Open { since: at(7) });
        }
        let eased = Act::Change { from: Severity::Critical, to: Severity::Warning };
        let open = Stage::Open { since: at(0) };
        assert_eq!(step(&open, 7, &eased), (open, Deed::Eased { to: Severity::Warning }));
    }

    #[test]
    fn people_are_told_why_something_cannot_be() {
        let closed = Stage::Closed { at: at(0), how: Closing::Cleared };
        let open = Stage::Open { since: at(0) };
        let refused = |stage: &Stage, act| stage.take(at(10), "ana", &act).unwrap_err();
        assert_eq!(refused(&closed, Act::Acknowledge), Refusal::Closed);
        assert_eq!(refused(&closed, Act::Snooze { until: at(99) }), Refusal::Closed);
        assert_eq!(refused(&open, Act::Reopen { reason: String::new() }), Refusal::NotClosed);
        assert_eq!(refused(&open, Act::Withdraw), Refusal::NotTaken);
        assert_eq!(refused(&closed, Act::Withdraw), Refusal::Closed);
        assert_eq!(refused(&open, Act::Close { reason: "  ".into() }), Refusal::Empty);
        assert_eq!(refused(&open, Act::Note { text: "x".repeat(2_001) }), Refusal::TooLong);
        assert_eq!(refused(&open, Act::Snooze { until: at(10) }), Refusal::Past(at(10)));
        assert!(matches!(refused(&open, Act::Snooze { until: at(200_000) }), Refusal::TooFar(_)));
    }

    #[test]
    fn what_was_taken_on_or_put_off_by_mistake_waits_for_somebody_again() {
        for stage in [
            Stage::Acknowledged { at: at(0), by: "ana".into() },
            Stage::Snoozed { until: at(99), by: "ana".into() },
        ] {
            assert_eq!(step(&stage, 7, &Act::Withdraw), (Stage::Open { since: at(7) }, Deed::Withdrawn));
        }
        assert!(Deed::Withdrawn.calls_anew(), "nobody takes care of it now");
    }

    fn act() -> impl Strategy<Value = Act> {
        let severity = prop::sample::select(vec![Severity::Info, Severity::Warning, Severity::Critical]);
        prop_oneof![
            Just(Act::Raise { returns_within: Span::DAY }),
            (severity.clone(), severity).prop_map(|(from, to)| Act::Change { from, to }),
            Just(Act::Clear),
            Just(Act::Wake),
            Just(Act::Acknowledge),
            (0..5_000i64).prop_map(|minute| Act::Snooze { until: at(minute) }),
            Just(Act::Withdraw),
            Just(Act::Close { reason: "known".into() }),
            Just(Act::Reopen { reason: String::new() }),
            Just(Act::Note { text: "looked".into() }),
        ]
    }

    proptest! {
        /// Whatever happens in whatever order: a finding that is raised leaves no closed alert behind it, one
        /// that clears leaves none standing, a snooze wakes, and every change is a step.
        #[test]
        fn nothing_is_lost_and_nothing_stands_for_ever(acts in prop::collection::vec((act(), 0..60i64), 1..80)) {
            let (mut stage, mut minute) = (Stage::Open { since: at(0) }, 0);
            for (act, later) in acts {
                minute += later;
                let before = stage.clone();
                let taken = stage.take(at(minute), "ana", &act);
                match taken {
                    Ok(Taken::Step(after, deed)) => {
                        prop_assert!(!deed.calls_anew() || after.is_open(), "{deed:?} calls for what is not open");
                        prop_assert!(!after.is_open() || before.is_open() || deed.calls_anew(),
                            "{before:?} became {after:?} by {deed:?} without a call");
                        stage = after;
                    }
                    Ok(Taken::Anew) => stage = Stage::Open { since: at(minute) },
                    Ok(Taken::Nothing) => {}
                    Err(_) => {
                        let by_program = matches!(act, Act::Raise { .. } | Act::Change { .. } | Act::Clear | Act::Wake);
                        prop_assert!(!by_program);
                    }
                }
                match act {
                    Act::Raise { .. } => prop_assert!(!stage.is_closed()),
                    Act::Clear => prop_assert!(stage.is_closed()),
                    Act::Wake => {
                        let asleep = matches!(&stage, Stage::Snoozed { until, .. } if *until <= at(minute));
                        prop_assert!(!asleep);
                    }
                    Act::Change { from, to } if to > from => prop_assert!(stage.is_open()),
                    Act::Change { .. } | Act::Acknowledge | Act::Snooze { .. } | Act::Withdraw
                    | Act::Close { .. } | Act::Reopen { .. } | Act::Note { .. } => {}
                }
            }
        }
    }
}
