//! The way back to where the last commit left the engines, and engines that have to learn anew.

use std::collections::BTreeMap;
use std::sync::Arc;

use tracing::{info, warn};

use super::super::learners::Learners;
use super::super::relearn::{Learnt, lessons};
use super::super::{mark, repeat};
use super::Steward;
use crate::desk::LearningNote;
use crate::engine::{Effect, Engine, Input, WATERMARK};
use crate::fleet::{Fleet, Waiting};
use crate::ledger::{Batch, LedgerFault, Lived, Recovery};
use crate::model::{EventTime, System};

/// Systems whose memory cannot be used, by their places: until when everything was told, where a mark says so, and what
/// came since.
type Lost = BTreeMap<usize, (Option<EventTime>, Waiting)>;

impl Steward {
    /// Restores every engine from its snapshot and the inputs that followed it. Where a snapshot cannot be used, what
    /// follows it waits until its engine has learnt anew from the stored readings.
    pub(super) fn recover(&mut self, systems: &[Arc<System>]) -> Result<(), LedgerFault> {
        let mut recovery = self.ledger.recover()?;
        let (mut engines, mut lost) = (Vec::with_capacity(systems.len()), BTreeMap::new());
        for (place, (system, number)) in systems.iter().zip(self.numbers.clone()).enumerate() {
            // The bytes are not needed again.
            let state = recovery.snapshots.get_mut(&number).map(|saved| std::mem::take(&mut saved.state));
            let restored = state.as_ref().map(|state| Engine::restore(Arc::clone(system), state));
            engines.push(match restored {
                Some(Ok((engine, changes))) => {
                    self.conclude_all(number, changes);
                    engine
                }
                Some(Err(fault)) => {
                    let told = state.and_then(|state| mark::read(&state));
                    if told.is_none() {
                        warn!(system = %system.id, %fault, "the system's memory cannot be used; it learns anew from the stored readings");
                    }
                    lost.insert(place, (told, Waiting::default()));
                    Engine::new(Arc::clone(system))
                }
                None => Engine::new(Arc::clone(system)),
            });
        }
        self.repeat(&recovery, &mut engines, &lost)?;
        self.now = recovery.last_received.unwrap_or(EventTime::MIN);
        self.fleet = Fleet::with_engines(engines, &self.prefix);
        // Without a message there is nothing to learn from.
        if recovery.last_received.is_some() {
            self.prepare_lessons(systems, lost)?;
        }
        Ok(())
    }

    /// Lets `engines` go again through what came after their snapshots. What that led to is in the ledger already, so
    /// only what a changed plan makes of it is concluded. What came after a mark waits. Those that were not watched when the
    /// daemon stopped go on anew, and are saved with the next commit.
    fn repeat(
        &mut self,
        recovery: &Recovery,
        engines: &mut [Engine],
        lost: &Lost,
    ) -> Result<(), LedgerFault> {
        let places: BTreeMap<_, _> =
            self.numbers.iter().enumerate().map(|(at, number)| (*number, at)).collect();
        let (saves, mut repeated) = (&mut self.saves, vec![Vec::new(); engines.len()]);
        let mut told = EventTime::MIN;
        let inputs = self.ledger.replay(recovery, |lived| match lived {
            Lived::Told(at) => told = told.max(at),
            Lived::Input(entry) => {
                let Some(&at) = places.get(&entry.system) else { return };
                match lost.get(&at) {
                    Some((Some(_), waiting)) => waiting.push(entry.received, entry.input),
                    // All of it was told before the memory could no longer be used.
                    Some((None, _)) => {}
                    None => {
                        tell_again(&mut engines[at], told, &mut repeated[at]);
                        engines[at].apply(entry.received, &entry.input, &mut repeated[at]);
                        saves.note(at, entry.received);
                    }
                }
            }
        })?;
        let view = self.ledger.view()?;
        let open = view.findings_open()?;
        for (at, mut repeated) in repeated.into_iter().enumerate() {
            if lost.contains_key(&at) {
                continue;
            }
            self.saves.reach(at, engines[at].passed() + WATERMARK);
            if engines[at].resume(told - WATERMARK, &mut repeated) {
                info!(system = %engines[at].system().id, "is watched again, with what it had learnt");
                self.joined.push(at);
            }
            tell_again(&mut engines[at], told, &mut repeated);
            let news = repeat::news(&view, &engines[at], repeated)?;
            self.conclude_all(self.numbers[at], news);
            self.conclude_all(self.numbers[at], repeat::differences(&engines[at], &open));
        }
        info!(systems = engines.len(), inputs, "brought back to where the last commit left it");
        (self.told, self.told_in_ledger) = (told, told);
        Ok(())
    }

    /// Prepares lessons for systems that are `lost`, and marks those that are not yet.
    fn prepare_lessons(&mut self, systems: &[Arc<System>], lost: Lost) -> Result<(), LedgerFault> {
        let until = self.now.max(self.told);
        let mut marks = Batch::default();
        let mut taught = BTreeMap::new();
        for (place, (told, waiting)) in lost {
            if told.is_none() {
                marks.save(self.numbers[place], mark::write(until));
            }
            self.fleet.set_aside(place, waiting.clone());
            taught.insert(place, (told.unwrap_or(until), waiting));
        }
        if !marks.is_empty() {
            self.ledger.commit(&marks)?;
        }
        self.lessons = lessons(&self.ledger.view()?, systems, taught)?;
        Ok(())
    }

    /// Lets systems learn anew in threads of their own; `wake` is called when there is something to
    /// [take](Self::take_learnt).
    ///
    /// # Errors
    /// When the ledger cannot be read.
    pub fn let_learn(&mut self, wake: impl Fn() + Clone + Send + 'static) -> Result<(), LedgerFault> {
        self.learners = Learners::start(self.ledger.view()?, std::mem::take(&mut self.lessons), wake);
        Ok(())
    }

    /// Lets engines that have learnt anew since the last time take over, saved with the next commit; whether there were
    /// any.
    ///
    /// # Errors
    /// When a thread could not read the ledger.
    pub fn take_learnt(&mut self, now: EventTime) -> Result<bool, LedgerFault> {
        let finished = self.learners.as_ref().map(Learners::finished).unwrap_or_default();
        let any = !finished.is_empty();
        for learnt in finished {
            self.join(learnt?, now);
        }
        if self.learners.as_ref().is_some_and(|learners| learners.progress().is_over()) {
            self.learners = None;
        }
        Ok(any)
    }

    /// Whether systems learn anew.
    pub fn is_learning(&self) -> bool {
        self.learners.is_some()
    }

    /// Which systems learn anew, and how far that is.
    pub fn learning(&self) -> LearningNote {
        let note =
            |learners: &Learners| LearningNote { waiting: self.unjudged(), ..learners.progress().clone() };
        self.learners.as_ref().map(note).unwrap_or_default()
    }

    /// How many inputs are stored and wait to be judged until their systems have learnt anew.
    pub fn unjudged(&self) -> usize {
        self.fleet.waiting()
    }

    pub(super) fn join(&mut self, learnt: Learnt, now: EventTime) {
        if let Some(learners) = &mut self.learners {
            learners.note(&learnt);
        }
        let Learnt { place, engine, changes } = learnt;
        self.conclude_all(self.numbers[place], changes);
        self.fleet.join(place, engine, now.max(self.told), &mut self.gathered);
        self.hand_over();
        self.joined.push(place);
    }
}

/// Brings an engine to the time that it was told before the restart. What it would conclude was concluded then; told a
/// time that it has passed, it would conclude now what was due in between, and nobody would hear of it.
pub(super) fn tell_again(engine: &mut Engine, told: EventTime, repeated: &mut Vec<Effect>) {
    if engine.passed() < told - WATERMARK {
        engine.apply(told, &Input::Tick, repeated);
    }
}
