//! The writer's work without its waiting: what came is taken in, stored, and only then given back.
//!
//! No thread, clock or connection, so that a crash or a full disk can be tried between any two steps.

use std::collections::BTreeSet;
use std::sync::Arc;

use super::Steward;
use crate::desk::LearningNote;
use crate::ledger::{Asked, LedgerFault, Retained, RetentionPolicy};
use crate::link::Message;
use crate::model::{EventTime, Id, Span, System};

/// Engines are told the time this often.
const TICK: Span = Span::SECOND;

/// One round after the other: [`Rounds::take`], then [`Rounds::store`] until it succeeds.
pub struct Rounds {
    steward: Steward,
    retention: RetentionPolicy,
    /// When the engines were told the time last.
    ticked: EventTime,
    /// Taken in, but not stored yet.
    messages: Vec<Message>,
    orders: Vec<Asked>,
}

/// What a commit leaves to be done.
#[derive(Debug)]
pub struct Stored {
    /// Messages that may be acknowledged now, in order of receipt. There is no other way to them.
    pub messages: Vec<Message>,
    /// Number of the commit, if there was anything to commit.
    pub seq: Option<u64>,
}

impl Rounds {
    /// Rounds of `steward`, who keeps things as long as `retention` says.
    pub fn new(steward: Steward, retention: RetentionPolicy) -> Self {
        Self { steward, retention, ticked: EventTime::MIN, messages: Vec::new(), orders: Vec::new() }
    }

    /// Takes in what came until `now`; whether it was also time to tell the engines so. Orders that cannot be carried
    /// out are answered at once.
    pub fn take(
        &mut self,
        now: EventTime,
        messages: Vec<Message>,
        orders: impl IntoIterator<Item = Asked>,
    ) -> bool {
        for message in &messages {
            self.steward.take(EventTime::from_millis(message.received_ms), &message.topic, &message.payload);
        }
        self.messages.extend(messages);
        // A clock that was set back must not make anybody wait until it is that late again.
        let told = now - self.ticked >= TICK || now < self.ticked;
        if told {
            self.ticked = now;
            self.steward.tick(now);
        }
        for asked in orders {
            match self.steward.order(now, asked.order.clone()) {
                Ok(()) => self.orders.push(asked),
                Err(refused) => asked.answer(Err(refused)),
            }
        }
        told
    }

    /// Lets engines that have learnt anew take over, as [`Steward::take_learnt`].
    ///
    /// # Errors
    /// When a thread could not read the ledger.
    pub fn take_learnt(&mut self, now: EventTime) -> Result<bool, LedgerFault> {
        self.steward.take_learnt(now)
    }

    /// Whether systems learn anew.
    pub fn is_learning(&self) -> bool {
        self.steward.is_learning()
    }

    /// Which systems learn anew, and how far that is.
    pub fn learning(&self) -> LearningNote {
        self.steward.learning()
    }

    /// How many inputs wait to be judged, as [`Steward::unjudged`].
    pub fn unjudged(&self) -> usize {
        self.steward.unjudged()
    }

    /// Stores what was taken in, answers its orders and gives back its messages.
    ///
    /// # Errors
    /// It could not be stored. Everything is kept: call again.
    pub fn store(&mut self) -> Result<Stored, LedgerFault> {
        let commit = self.steward.store()?;
        let seq = commit.as_ref().map(|commit| commit.seq);
        let answers = commit.into_iter().flat_map(|commit| commit.answers);
        self.orders.drain(..).zip(answers).for_each(|(asked, answer)| asked.answer(answer));
        Ok(Stored { messages: std::mem::take(&mut self.messages), seq })
    }

    /// Rolls up, packs and deletes a little; call it between rounds, again at once while there is more.
    ///
    /// # Errors
    /// When that could not be stored; nothing has changed then.
    pub fn keep_house(&mut self, now: EventTime) -> Result<Retained, LedgerFault> {
        self.steward.ledger().retain(now, &self.retention)
    }

    /// Goes on with changed plans, as [`Steward::adopt`].
    ///
    /// # Errors
    /// What was gathered under the old plans cannot be stored; nothing has changed then.
    pub fn adopt(
        &mut self,
        plans: &[Arc<System>],
        held: &BTreeSet<Id>,
    ) -> Result<Vec<Arc<System>>, LedgerFault> {
        self.steward.adopt(plans, held)?;
        Ok(self.steward.systems())
    }

    /// Messages that wait to be stored.
    pub fn waiting(&self) -> u64 {
        self.steward.waiting()
    }

    /// Stores the state of every engine, so that the next start is quick; the number of the commit, if there was
    /// anything to commit.
    ///
    /// # Errors
    /// It could not be stored; the next start takes longer then.
    pub fn end(mut self) -> Result<Option<u64>, LedgerFault> {
        Ok(self.steward.put_away()?.map(|commit| commit.seq))
    }

    /// The ledger, for its bounds.
    pub fn ledger(&mut self) -> &mut crate::ledger::Ledger {
        self.steward.ledger()
    }
}
