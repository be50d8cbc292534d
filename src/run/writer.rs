//! The writer thread: batches from the broker through the steward, acknowledged once stored.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::Receiver;
use std::thread;
use std::time::Duration;

use tokio::sync::watch;
use tracing::{error, info, warn};

use super::{Steward, systemd};
use crate::clock::Clock;
use crate::ledger::{Asked, LedgerFault, OrderQueue, RetentionPolicy};
use crate::link::{Acker, Inbox};
use crate::model::{EventTime, Span, System};
use crate::telemetry::chain;

/// Pause before trying again to store what could not be stored.
const RETRY: Duration = Duration::from_millis(500);
/// Engines are told the time this often (on the daemon's clock).
const TICK: Span = Span::SECOND;

/// Housekeeping of the ledger is done this often (on the daemon's clock), and again at once while there is more.
const HOUSEKEEPING: Span = Span::from_mins(1);

/// What the writer needs besides the steward.
pub(super) struct Writer {
    pub(super) steward: Steward,
    pub(super) inbox: Inbox,
    pub(super) acker: Acker,
    pub(super) clock: Clock,
    pub(super) batch: usize,
    pub(super) linger: Duration,
    pub(super) retention: RetentionPolicy,
    /// Changed plans to go on with.
    pub(super) plans: Receiver<Vec<Arc<System>>>,
    /// What people and readers outside ask for.
    pub(super) orders: OrderQueue,
    /// Told after every commit.
    pub(super) commits: watch::Sender<u64>,
    /// Plans in force.
    pub(super) systems: watch::Sender<Arc<Vec<Arc<System>>>>,
    /// Set when the daemon is to end: storing is then not tried for ever.
    pub(super) ending: Arc<AtomicBool>,
}

impl Writer {
    /// Works until the inbox closes, then puts everything away.
    pub(super) fn run(mut self) -> Result<(), LedgerFault> {
        let mut ticked = EventTime::MIN;
        let mut keep_house_at = EventTime::MIN;
        loop {
            let batch = self.inbox.recv_batch(self.batch, self.linger);
            for message in &batch.messages {
                let received = EventTime::from_millis(message.received_ms);
                self.steward.take(received, &message.topic, &message.payload);
            }
            let now = self.clock.now();
            // A clock that was set back must not make anybody wait until it is that late again.
            if now - ticked >= TICK || now < ticked {
                ticked = now;
                keep_house_at = keep_house_at.min(now + HOUSEKEEPING);
                self.steward.tick(now);
                systemd::alive();
            }
            let asked = self.take_orders(now);
            if !self.store(asked)? {
                warn!(
                    messages = self.steward.waiting(),
                    "ending without having stored what came last; the broker will send it again"
                );
                return Ok(());
            }
            self.acker.ack(batch.messages);
            if let Some(plans) = self.plans.try_iter().last() {
                self.adopt(&plans)?;
            }
            if now >= keep_house_at {
                let more = self.keep_house(now);
                keep_house_at = if more { now } else { now + HOUSEKEEPING };
            }
            if batch.closed {
                break;
            }
        }
        if let Some(commit) = self.steward.put_away()? {
            self.commits.send_replace(commit.seq);
        }
        Ok(())
    }

    /// Takes in the orders that wait; those that cannot be are answered at once.
    fn take_orders(&mut self, now: EventTime) -> Vec<Asked> {
        let mut taken = Vec::new();
        for asked in self.orders.waiting() {
            match self.steward.order(now, asked.order.clone()) {
                Ok(()) => taken.push(asked),
                Err(refused) => asked.answer(Err(refused)),
            }
        }
        taken
    }

    /// Stores what was gathered, however long it takes, and answers the orders; false if the daemon is to end before.
    fn store(&mut self, asked: Vec<Asked>) -> Result<bool, LedgerFault> {
        let mut failing = false;
        loop {
            match self.steward.store() {
                Ok(commit) => {
                    if failing {
                        info!("storing works again; acknowledging goes on");
                        systemd::status("serving");
                    }
                    if let Some(commit) = commit {
                        self.commits.send_replace(commit.seq);
                        asked
                            .into_iter()
                            .zip(commit.answers)
                            .for_each(|(asked, answer)| asked.answer(answer));
                    }
                    return Ok(true);
                }
                Err(fault) if fault.may_pass() => {
                    if !failing {
                        error!(fault = %chain(&fault), "cannot store; nothing is acknowledged until that works again");
                        systemd::status("cannot store: nothing is acknowledged until that works again");
                    }
                    failing = true;
                    if self.ending.load(Ordering::Relaxed) {
                        return Ok(false);
                    }
                    systemd::alive();
                    thread::sleep(RETRY);
                }
                Err(fault) => return Err(fault),
            }
        }
    }

    fn adopt(&mut self, plans: &[Arc<System>]) -> Result<(), LedgerFault> {
        self.steward.adopt(plans)?;
        self.systems.send_replace(Arc::new(self.steward.systems()));
        info!(systems = plans.len(), "the system files in force have changed");
        Ok(())
    }

    /// Rolls up and deletes a little; says whether there is more to do.
    fn keep_house(&mut self, now: EventTime) -> bool {
        match self.steward.ledger().retain(now, &self.retention) {
            Ok(retained) => retained.more,
            Err(fault) => {
                warn!(fault = %chain(&fault), "the ledger's housekeeping has to wait");
                false
            }
        }
    }
}
