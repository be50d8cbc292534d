//! When to save the state of which engine, and how far what is stored of each reaches.

use crate::model::{EventTime, Span};

/// Inputs after which an engine's state is saved.
const INPUTS: u32 = 2_000;
/// Time of arrival after which an engine that took anything in is saved.
const AGE: Span = Span::from_mins(10);
/// What is stored of an engine that is watched is never further than this behind the time that is stored as told to all:
/// of one that is, nobody listened to the sensors. Less than the shortest silence that matters.
pub(super) const BEHIND: Span = Span::from_mins(30);
/// States saved with one commit, so that no commit takes long.
const AT_ONCE: usize = 64;

/// What each engine took in since its state was saved last.
#[derive(Debug, Default)]
pub(super) struct Saves {
    unsaved: Vec<Unsaved>,
    /// Where to go on looking.
    next: usize,
}

#[derive(Clone, Copy, Debug)]
struct Unsaved {
    inputs: u32,
    since: Option<EventTime>,
    /// When the last of what is stored of it arrived.
    reached: EventTime,
}

impl Saves {
    pub(super) fn new(engines: usize) -> Self {
        let none = Unsaved { inputs: 0, since: None, reached: EventTime::MIN };
        Self { unsaved: vec![none; engines], next: 0 }
    }

    /// Engine `at` took something in.
    pub(super) fn note(&mut self, at: usize, received: EventTime) {
        self.owe(at, received);
        self.reach(at, received);
    }

    /// Engine `at` is to be saved.
    pub(super) fn owe(&mut self, at: usize, now: EventTime) {
        let unsaved = &mut self.unsaved[at];
        unsaved.inputs += 1;
        unsaved.since.get_or_insert(now);
    }

    /// What is stored of engine `at` reaches to what arrived at `received`.
    pub(super) fn reach(&mut self, at: usize, received: EventTime) {
        let reached = &mut self.unsaved[at].reached;
        *reached = received.max(*reached);
    }

    /// How far what is stored of engine `at` reaches.
    pub(super) fn reached(&self, at: usize) -> EventTime {
        self.unsaved[at].reached
    }

    /// Engines of which what is stored lies too far behind what was told.
    pub(super) fn behind(&self, told: EventTime) -> Vec<usize> {
        (0..self.unsaved.len()).filter(|&at| told - self.unsaved[at].reached >= BEHIND).collect()
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
            self.unsaved[at] = Unsaved { inputs: 0, since: None, ..unsaved };
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

    #[test]
    fn who_takes_nothing_in_falls_behind_whether_saved_or_not() {
        let mut saves = Saves::new(2);
        let start = EventTime::from_secs(0);
        (0..2).for_each(|at| saves.note(at, start));
        saves.due(start, true);
        saves.note(1, start + Span::from_mins(20));
        assert_eq!(saves.behind(start + Span::from_mins(29)), [] as [usize; 0]);
        assert_eq!(saves.behind(start + BEHIND), [0]);
        saves.reach(0, start + BEHIND);
        saves.reach(0, start);
        assert_eq!(saves.behind(start + BEHIND), [] as [usize; 0]);
    }
}
