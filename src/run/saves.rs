//! When to save the state of which engine.

use crate::model::{EventTime, Span};

/// Inputs after which an engine's state is saved.
const INPUTS: u32 = 2_000;
/// Time of arrival after which an engine that took anything in is saved.
const AGE: Span = Span::from_mins(10);
/// States saved with one commit, so that no commit takes long.
const AT_ONCE: usize = 64;

/// What each engine took in since its state was saved last.
#[derive(Debug, Default)]
pub(super) struct Saves {
    unsaved: Vec<Unsaved>,
    /// Where to go on looking.
    next: usize,
}

#[derive(Clone, Copy, Debug, Default)]
struct Unsaved {
    inputs: u32,
    since: Option<EventTime>,
}

impl Saves {
    pub(super) fn new(engines: usize) -> Self {
        Self { unsaved: vec![Unsaved::default(); engines], next: 0 }
    }

    /// Engine `at` took something in.
    pub(super) fn note(&mut self, at: usize, received: EventTime) {
        let unsaved = &mut self.unsaved[at];
        unsaved.inputs += 1;
        unsaved.since.get_or_insert(received);
    }

    /// Engines to save now, at most [`AT_ONCE`]; all that took anything in if `everything`.
    pub(super) fn due(&mut self, now: EventTime, everything: bool) -> Vec<usize> {
        let mut due = Vec::new();
        let count = self.unsaved.len();
        for step in 0..count {
            let at = (self.next + step) % count;
            let unsaved = self.unsaved[at];
            let old = unsaved.since.is_some_and(|since| everything || now - since >= AGE);
            if !old && unsaved.inputs < INPUTS {
                continue;
            }
            self.unsaved[at] = Unsaved::default();
            due.push(at);
            if due.len() == AT_ONCE && !everything {
                self.next = (at + 1) % count;
                break;
            }
        }
        due
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn busy_and_old_engines_are_saved_a_few_at_a_time() {
        let mut saves = Saves::new(200);
        let start = EventTime::from_secs(0);
        (0..200).for_each(|at| saves.note(at, start));
        assert_eq!(saves.due(start, false), [] as [usize; 0]);
        let later = start + AGE;
        let mut all = Vec::new();
        for _ in 0..4 {
            all.extend(saves.due(later, false));
        }
        all.sort_unstable();
        assert_eq!(all, (0..200).collect::<Vec<_>>());
        (0..INPUTS).for_each(|_| saves.note(7, later));
        assert_eq!(saves.due(later, false), [7]);
        saves.note(3, later);
        assert_eq!(saves.due(later, true), [3]);
    }
}
