//! Systems that learn anew after an upgrade, for people.

use std::collections::BTreeMap;

use crate::model::Id;

/// Which systems learn anew from their stored readings; empty where none do.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct LearningNote {
    /// Days of readings that are gone through, at most.
    pub days: u32,
    /// Whether each has done so.
    pub systems: BTreeMap<Id, bool>,
    /// Inputs that are stored and wait to be judged until their systems have; at most a second old.
    pub waiting: usize,
}

impl LearningNote {
    /// How many have.
    pub fn done(&self) -> usize {
        self.systems.values().filter(|done| **done).count()
    }

    /// How many have not.
    pub fn left(&self) -> usize {
        self.systems.len() - self.done()
    }

    /// Whether all have.
    pub fn is_over(&self) -> bool {
        self.systems.values().all(|done| *done)
    }

    /// What there is to say about all of them, while it is not over.
    pub fn words(&self) -> Option<String> {
        (!self.is_over()).then(|| {
            format!(
                "Learning anew from {} days of readings after an upgrade: {} of {} systems done.",
                self.days,
                self.done(),
                self.systems.len()
            )
        })
    }

    /// What of it concerns the systems that `sees` lets through.
    pub(super) fn within(&self, sees: impl Fn(&Id) -> bool) -> Self {
        let systems = self.systems.iter().filter(|(id, _)| sees(id));
        let systems = systems.map(|(id, done)| (id.clone(), *done)).collect();
        Self { days: self.days, systems, waiting: self.waiting }
    }

    /// As on pages: what that means for those systems.
    pub(super) fn notice(&self) -> Option<String> {
        let words = self.words()?;
        Some(format!(
            "{words} What the others have sent since is stored, and judged when they are done; until then their \
             findings stand as they were, and no new flood in them is told."
        ))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_notice_speaks_of_systems_in_sight_until_they_are_done() {
        let id = |text: &str| Id::new(text).unwrap();
        let systems = [("east", true), ("north", true), ("west", false)];
        let note = LearningNote {
            days: 400,
            systems: systems.into_iter().map(|(system, done)| (id(system), done)).collect(),
            waiting: 0,
        };
        let words = note.words().unwrap();
        assert_eq!(words, "Learning anew from 400 days of readings after an upgrade: 2 of 3 systems done.");
        let some = note.within(|system| *system != id("north"));
        assert!(some.notice().unwrap().contains("1 of 2 systems done"));
        assert_eq!(note.within(|system| *system != id("west")).notice(), None);
        assert_eq!(LearningNote::default().words(), None);
    }
}
