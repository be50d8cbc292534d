//! The writer thread: batches from the broker through the steward, acknowledged once stored.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::Receiver;
use std::thread;
use std::time::Duration;

use tokio::sync::watch;
use tracing::{error, info, warn};

use super::rounds::Rounds;
use super::systemd;
use crate::clock::Clock;
use crate::desk::LearningNote;
use crate::ledger::{LedgerFault, OrderQueue};
use crate::link::{Acker, Inbox, Message};
use crate::model::{EventTime, Span, System};
use crate::systemfile::{FaultyFile, Folder};
use crate::telemetry::chain;

/// Pause before trying again to store what could not be stored.
const RETRY: Duration = Duration::from_millis(500);
/// Housekeeping of the ledger is done this often (on the daemon's clock), and again at once while there is more.
const HOUSEKEEPING: Span = Span::from_mins(1);

/// What the rounds need of the world.
pub(super) struct Writer {
    pub(super) rounds: Rounds,
    pub(super) inbox: Inbox,
    pub(super) acker: Acker,
    pub(super) clock: Clock,
    pub(super) batch: usize,
    pub(super) linger: Duration,
    /// Changed plans to go on with.
    pub(super) plans: Receiver<Folder>,
    /// What people and readers outside ask for.
    pub(super) orders: OrderQueue,
    /// Told after every commit.
    pub(super) commits: watch::Sender<u64>,
    /// System files that cannot be taken.
    pub(super) faulty: watch::Sender<Arc<Vec<FaultyFile>>>,
    /// Plans in force.
    pub(super) systems: watch::Sender<Arc<Vec<Arc<System>>>>,
    /// Which systems learn anew.
    pub(super) learning: watch::Sender<Arc<LearningNote>>,
    /// Set when the daemon is to end: storing is then not tried for ever.
    pub(super) ending: Arc<AtomicBool>,
}

impl Writer {
    /// Works until the inbox closes, then puts everything away.
    pub(super) fn run(mut self) -> Result<(), LedgerFault> {
        let mut keep_house_at = EventTime::MIN;
        if self.rounds.is_learning() {
            self.tell_learning();
        }
        loop {
            let batch = self.inbox.recv_batch(self.batch, self.linger);
            let now = self.clock.now();
            let learnt = self.rounds.take_learnt(now)?;
            if self.rounds.take(now, batch.messages, self.orders.waiting()) {
                // Also after the clock was set back, however far.
                keep_house_at = keep_house_at.min(now + HOUSEKEEPING);
                systemd::alive();
                self.tell_waiting();
            }
            let Some(stored) = self.store()? else {
                warn!(
                    messages = self.rounds.waiting(),
                    "ending without having stored what came last; the broker will send it again"
                );
                return Ok(());
            };
            self.acker.ack(stored);
            if learnt {
                self.tell_learning();
            }
            // Changed plans are taken over when all systems have learnt anew.
            if !self.rounds.is_learning()
                && let Some(folder) = self.plans.try_iter().last()
            {
                self.adopt(folder)?;
            }
            if now >= keep_house_at {
                let more = self.keep_house(now);
                keep_house_at = if more { now } else { now + HOUSEKEEPING };
            }
            if batch.closed {
                break;
            }
        }
        if let Some(seq) = self.rounds.end()? {
            self.commits.send_replace(seq);
        }
        Ok(())
    }

    /// Stores what was taken in, however long it takes; the messages to acknowledge, none if the daemon is to end
    /// before.
    fn store(&mut self) -> Result<Option<Vec<Message>>, LedgerFault> {
        let mut failing = false;
        loop {
            match self.rounds.store() {
                Ok(stored) => {
                    if failing {
                        info!("storing works again; acknowledging goes on");
                        systemd::status("serving");
                    }
                    if let Some(seq) = stored.seq {
                        self.commits.send_replace(seq);
                    }
                    return Ok(Some(stored.messages));
                }
                Err(fault) if fault.may_pass() => {
                    if !failing {
                        error!(fault = %chain(&fault), "cannot store; nothing is acknowledged until that works again");
                        systemd::status("cannot store: nothing is acknowledged until that works again");
                    }
                    failing = true;
                    if self.ending.load(Ordering::Relaxed) {
                        return Ok(None);
                    }
                    systemd::alive();
                    thread::sleep(RETRY);
                }
                Err(fault) => return Err(fault),
            }
        }
    }

    /// Says how far learning anew is, for the pages and the service manager.
    fn tell_learning(&self) {
        let note = self.rounds.learning();
        systemd::status(&note.words().unwrap_or_else(|| "serving".to_owned()));
        self.learning.send_replace(Arc::new(note));
    }

    /// Says how much waits for systems that learn anew. No page shows it, so none is woken.
    fn tell_waiting(&self) {
        if self.rounds.is_learning() {
            let waiting = self.rounds.unjudged();
            self.learning.send_if_modified(|note| {
                Arc::make_mut(note).waiting = waiting;
                false
            });
        }
    }

    fn adopt(&mut self, folder: Folder) -> Result<(), LedgerFault> {
        let held = folder.held().cloned().collect();
        let systems = self.rounds.adopt(&folder.systems, &held)?;
        self.faulty.send_replace(Arc::new(folder.faulty));
        self.systems.send_replace(Arc::new(systems));
        info!(systems = folder.systems.len(), "the system files in force have changed");
        Ok(())
    }

    /// Rolls up and deletes a little; says whether there is more to do.
    fn keep_house(&mut self, now: EventTime) -> bool {
        match self.rounds.keep_house(now) {
            Ok(retained) => retained.more,
            Err(fault) => {
                warn!(fault = %chain(&fault), "the ledger's housekeeping has to wait");
                false
            }
        }
    }
}
