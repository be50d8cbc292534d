//! Threads that let systems learn anew while everything else goes on.

use std::collections::BTreeMap;
use std::num::NonZero;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};
use std::thread;

use tracing::info;

use super::relearn::{Learnt, Lesson, learn};
use crate::desk::LearningNote;
use crate::ledger::{LedgerFault, View};

/// Systems after which progress is told.
const PROGRESS: usize = 25;

/// Systems that learn anew, and what came of it so far.
pub(super) struct Learners {
    note: LearningNote,
    finished: Receiver<Result<Learnt, LedgerFault>>,
}

/// What the threads share.
struct Class {
    view: View,
    lessons: Vec<Lesson>,
    next: AtomicUsize,
}

impl Learners {
    /// Begins with `lessons` on every processor, and calls `wake` whenever one is over; none if there are none.
    pub(super) fn start(
        view: View,
        lessons: Vec<Lesson>,
        wake: impl Fn() + Clone + Send + 'static,
    ) -> Option<Self> {
        let earliest = lessons.iter().map(|lesson| lesson.until - lesson.from).max()?;
        let systems: BTreeMap<_, _> =
            lessons.iter().map(|lesson| (lesson.system.id.clone(), false)).collect();
        let days = earliest.days_f64().ceil() as u32;
        info!(
            systems = systems.len(),
            days, "learning anew from the stored readings of systems whose memory cannot be used"
        );
        let threads = thread::available_parallelism().map_or(1, NonZero::get).min(lessons.len());
        let class = Arc::new(Class { view, lessons, next: AtomicUsize::new(0) });
        // Room for one each: engines that nobody has taken yet need memory.
        let (done, finished) = sync_channel(threads);
        for _ in 0..threads {
            let (class, done, wake) = (Arc::clone(&class), done.clone(), wake.clone());
            thread::spawn(move || class.go_through(&done, wake));
        }
        Some(Self { note: LearningNote { days, systems, waiting: 0 }, finished })
    }

    /// What is over since the last time.
    pub(super) fn finished(&self) -> Vec<Result<Learnt, LedgerFault>> {
        self.finished.try_iter().collect()
    }

    /// The next that is over; none after all are.
    pub(super) fn wait(&self) -> Option<Result<Learnt, LedgerFault>> {
        self.finished.recv().ok()
    }

    /// A system has learnt, and its engine has taken over.
    pub(super) fn note(&mut self, learnt: &Learnt) {
        self.note.systems.insert(learnt.engine.system().id.clone(), true);
        let (done, of) = (self.note.done(), self.note.systems.len());
        if done.is_multiple_of(PROGRESS) || done == of {
            info!(done, of, "learnt anew from the stored readings");
        }
    }

    /// How far it is.
    pub(super) fn progress(&self) -> &LearningNote {
        &self.note
    }
}

impl Class {
    fn go_through(&self, done: &SyncSender<Result<Learnt, LedgerFault>>, wake: impl Fn()) {
        while let Some(lesson) = self.lessons.get(self.next.fetch_add(1, Ordering::Relaxed)) {
            // Nobody listens any more when the daemon ends.
            if done.send(learn(&self.view, lesson)).is_err() {
                break;
            }
            wake();
        }
    }
}
