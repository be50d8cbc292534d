//! What people did with an alert, out of its steps.

use serde::Serialize;
use utoipa::ToSchema;

use crate::alerts::Deed;
use crate::ledger::StoredStep;
use crate::model::EventTime;

/// Somebody took an alert on.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub(in crate::desk) struct Taken {
    #[schema(value_type = String, format = DateTime)]
    pub(in crate::desk) at: EventTime,
    pub(in crate::desk) by: String,
}

/// Somebody closed an alert.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub(in crate::desk) struct Closed {
    #[schema(value_type = String, format = DateTime)]
    pub(in crate::desk) at: EventTime,
    pub(in crate::desk) by: String,
    /// Why.
    pub(in crate::desk) reason: String,
}

/// Who took an alert on first, and who closed it last, by those of its `steps` that lie within `from..to`.
pub(in crate::desk) fn handled<'s>(
    steps: impl IntoIterator<Item = &'s StoredStep>,
    from: EventTime,
    to: EventTime,
) -> (Option<Taken>, Option<Closed>) {
    let (mut taken, mut closed) = (None, None);
    for step in steps.into_iter().filter(|step| from <= step.at && step.at < to) {
        let (at, Some(by)) = (step.at, step.by.clone()) else { continue };
        match &step.deed {
            Deed::Acknowledged => taken = taken.or(Some(Taken { at, by })),
            Deed::Withdrawn => taken = None,
            Deed::Closed { reason } => closed = Some(Closed { at, by, reason: reason.clone() }),
            Deed::Reopened { .. } => closed = None,
            Deed::Opened
            | Deed::Returned
            | Deed::Worsened { .. }
            | Deed::Eased { .. }
            | Deed::Cleared
            | Deed::Snoozed { .. }
            | Deed::Woke
            | Deed::Noted { .. }
            | Deed::Folded { .. }
            | Deed::Unfolded => {}
        }
    }
    (taken, closed)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_first_who_took_it_on_and_the_last_who_closed_it_count_unless_that_was_taken_back() {
        let at = EventTime::from_secs;
        let step = |seconds, by: &str, deed| StoredStep { at: at(seconds), by: Some(by.to_owned()), deed };
        let close = |seconds, by| step(seconds, by, Deed::Closed { reason: "dry".to_owned() });
        let steps = [
            step(1, "Tom", Deed::Acknowledged),
            step(2, "Tom", Deed::Withdrawn),
            step(3, "Ana", Deed::Acknowledged),
            step(4, "Sam", Deed::Acknowledged),
            close(5, "Ana"),
            step(6, "Sam", Deed::Reopened { reason: String::new() }),
            StoredStep { at: at(7), by: None, deed: Deed::Cleared },
            close(9, "Sam"),
        ];
        let by = |from, to| {
            let (taken, closed) = handled(&steps, at(from), at(to));
            (taken.map(|it| it.by), closed.map(|it| it.by))
        };
        let told = |taken: &str, closed: &str| {
            let some = |by: &str| Some(by.to_owned()).filter(|by| !by.is_empty());
            (some(taken), some(closed))
        };
        assert_eq!(by(0, 10), told("Ana", "Sam"));
        assert_eq!(by(0, 9), told("Ana", ""));
        assert_eq!(by(4, 6), told("Sam", "Ana"));
        assert_eq!(by(7, 9), told("", ""));
    }
}
