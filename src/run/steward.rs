//! Owns the engines and the ledger: what comes in is concluded, stored, and only then done with.

mod plans;
mod recovery;

use std::collections::BTreeSet;
use std::sync::Arc;

use super::learners::Learners;
use super::relearn::Lesson;
use super::saves::{BEHIND, Saves};
use crate::engine::{Effect, Input, WATERMARK};
use crate::fleet::{Fleet, Gathered};
use crate::ledger::{
    Batch, Commit, Ledger, LedgerFault, Order, Refused, ServiceDeed, ServiceOrder, SystemNo, TestDeed,
    TestOrder,
};
use crate::model::{Catch, Command, EventTime, Id, System};

/// The single writer: a fleet and the ledger that it is stored in.
///
/// Every round goes take and tick, then [`Steward::store`] until it succeeds, then acknowledge.
pub struct Steward {
    fleet: Fleet,
    ledger: Ledger,
    /// Of each system of the fleet.
    numbers: Vec<SystemNo>,
    prefix: String,
    saves: Saves,
    gathered: Gathered,
    batch: Batch,
    now: EventTime,
    /// The latest time that the engines were told, and as far as the ledger and the batch say so.
    told: EventTime,
    told_in_ledger: EventTime,
    told_in_batch: EventTime,
    /// Systems that have to learn anew, until that is begun, and then those that do.
    lessons: Vec<Lesson>,
    learners: Option<Learners>,
    /// Engines that took over since the last commit, to be saved with the next.
    joined: Vec<usize>,
}

impl Steward {
    /// Brings the fleet of `systems` to where it stood at the last commit, however long it takes.
    ///
    /// # Errors
    /// When the ledger cannot be read.
    pub fn open(ledger: Ledger, systems: &[Arc<System>], prefix: &str) -> Result<Self, LedgerFault> {
        let mut steward = Self::open_soon(ledger, systems, &BTreeSet::new(), prefix)?;
        steward.let_learn(|| ())?;
        while let Some(learnt) = steward.learners.as_ref().and_then(Learners::wait) {
            steward.join(learnt?, steward.now);
            // Each by itself, so that a start that is broken off goes on where it was.
            steward.commit()?;
        }
        steward.learners = None;
        Ok(steward)
    }

    /// As [`Steward::open`], but leaves systems that have to learn anew to [`Steward::let_learn`] and
    /// [`Steward::take_learnt`]. What stands open of the systems `held`, which are not watched for now, is left as it is,
    /// and so is what their engines have to go on with.
    ///
    /// # Errors
    /// When the ledger cannot be read.
    pub fn open_soon(
        mut ledger: Ledger,
        systems: &[Arc<System>],
        held: &BTreeSet<Id>,
        prefix: &str,
    ) -> Result<Self, LedgerFault> {
        let numbers = ledger.enrol(systems.iter().map(|system| &**system))?;
        let mut steward = Self {
            fleet: Fleet::new(&[], prefix),
            saves: Saves::new(systems.len()),
            numbers,
            prefix: prefix.to_owned(),
            gathered: Gathered::default(),
            batch: Batch::default(),
            now: EventTime::MIN,
            told: EventTime::MIN,
            told_in_ledger: EventTime::MIN,
            told_in_batch: EventTime::MIN,
            lessons: Vec::new(),
            learners: None,
            joined: Vec::new(),
            ledger,
        };
        steward.recover(systems)?;
        steward.ledger.hold(held)?;
        steward.clear_unwatched(systems, held)?;
        Ok(steward)
    }

    fn conclude_all(&mut self, number: SystemNo, effects: Vec<Effect>) {
        for effect in effects {
            self.batch.conclude(number, effect);
        }
    }

    /// Takes in one message.
    pub fn take(&mut self, received: EventTime, topic: &str, payload: &[u8]) {
        self.now = self.now.max(received);
        self.batch.count_message(received);
        self.fleet.take(received, topic, payload, &mut self.gathered);
        for refusal in self.gathered.decoded.refusals.drain(..) {
            let sample = &refusal.sample;
            self.batch.refuse(refusal.reason.name(), &refusal.topic, sample, &refusal.detail, received);
        }
        for heard in self.gathered.decoded.unassigned.drain(..) {
            self.batch.hear_unassigned(&heard.topic, &heard.sample, received);
        }
        self.hand_over();
        self.batch.carried_by(payload);
    }

    /// Takes in an order, to be carried out with the next commit and answered by it.
    ///
    /// # Errors
    /// When it is about a system that is not watched; nothing was taken in then.
    pub fn order(&mut self, now: EventTime, order: Order) -> Result<(), Refused> {
        self.now = self.now.max(now);
        if let Order::Test(order) = &order {
            self.test(now, order)?;
        }
        if let Order::Service(order) = &order {
            self.service(now, order)?;
        }
        self.batch.order(order);
        Ok(())
    }

    /// Tells an engine what it has to know of a step of a flow test; of water that was caught once.
    fn test(&mut self, now: EventTime, order: &TestOrder) -> Result<(), Refused> {
        let at = order.at;
        let command = match &order.deed {
            TestDeed::RunOver => Command::RunEnded { at },
            TestDeed::Catch { run, caught } if self.ledger.is_new_run(order, run)? => {
                let litres = caught.iter().map(|(basin, caught)| (basin.clone(), caught.litres)).collect();
                Command::Caught(Catch { at, litres })
            }
            TestDeed::Begin { .. } | TestDeed::Catch { .. } | TestDeed::Finish { .. } | TestDeed::GiveUp => {
                return Ok(());
            }
        };
        if !self.fleet.tell(now, &order.system, &command, &mut self.gathered) {
            return Err(Refused(format!("no system is called {}", order.system)));
        }
        self.hand_over();
        Ok(())
    }

    /// Tells an engine of work that was written down, once however often the record arrives.
    fn service(&mut self, now: EventTime, order: &ServiceOrder) -> Result<(), Refused> {
        if self.batch.has_service(&order.key) {
            return match order.deed {
                // The commit finds out that it is the same one.
                ServiceDeed::Record(_) | ServiceDeed::Photo(_) => Ok(()),
                ServiceDeed::Correct { .. } | ServiceDeed::Withdraw { .. } => {
                    Err(Refused("this record is being stored just now: try again in a moment".to_owned()))
                }
            };
        }
        let told = self.ledger.service_news(order)?;
        if !self.fleet.engines().iter().any(|engine| engine.system().id == order.system) {
            return Err(Refused(format!("no system is called {}", order.system)));
        }
        for command in told {
            self.fleet.tell(now, &order.system, &command, &mut self.gathered);
        }
        self.hand_over();
        Ok(())
    }

    /// Lets every engine know what time it is.
    pub fn tick(&mut self, now: EventTime) {
        self.now = self.now.max(now);
        self.fleet.tick(now, &mut self.gathered);
        self.hand_over();
        self.told = self.told.max(now);
    }

    /// Moves what was gathered into the batch, under the ledger's numbers.
    fn hand_over(&mut self) {
        // A clock that was set back: what comes now would not bring an engine as far as it has been told. Earlier
        // rows of the journal that say so may be gone by then.
        let is_earlier = self.gathered.inputs.iter().any(|(_, received, _)| *received < self.told);
        if is_earlier && self.told_in_batch < self.told {
            self.keep_told();
        }
        for (at, received, input) in self.gathered.inputs.drain(..) {
            if !self.fleet.is_absent(at) {
                self.saves.note(at, received);
            }
            self.batch.take_in(self.numbers[at], received, input);
        }
        for (at, effect) in self.gathered.effects.drain(..) {
            self.batch.conclude(self.numbers[at], effect);
        }
        self.gathered.clear();
    }

    /// Messages that wait to be stored.
    pub fn waiting(&self) -> u64 {
        self.batch.messages()
    }

    /// Commits everything since the last success; none if there is nothing to commit.
    ///
    /// # Errors
    /// When it could not be stored. The batch is kept: call again.
    pub fn store(&mut self) -> Result<Option<Commit>, LedgerFault> {
        for at in self.saves.due(self.now, false) {
            self.save(at);
        }
        self.commit()
    }

    /// Commits, and saves the state of every engine as well, so that the next start is quick.
    ///
    /// # Errors
    /// As [`Steward::store`].
    pub fn put_away(&mut self) -> Result<Option<Commit>, LedgerFault> {
        for at in self.saves.due(self.now, true) {
            self.save(at);
        }
        self.commit()
    }

    fn save(&mut self, at: usize) {
        let engine = &self.fleet.engines()[at];
        self.batch.save(self.numbers[at], engine.snapshot());
        self.saves.reach(at, engine.passed() + WATERMARK);
    }

    fn commit(&mut self) -> Result<Option<Commit>, LedgerFault> {
        for at in std::mem::take(&mut self.joined) {
            self.save(at);
        }
        // A new ledger has nobody yet of whom it would matter.
        let is_late = self.ledger.last_commit() > 0 && self.told - self.told_in_ledger >= BEHIND;
        if self.batch.is_empty() && !is_late {
            return Ok(None);
        }
        if is_late || (self.told > EventTime::MIN && self.batch.concerns_engines()) {
            self.keep_told();
        }
        let commit = self.ledger.commit(&self.batch)?;
        self.batch.clear();
        self.told_in_ledger = self.told_in_ledger.max(self.told_in_batch);
        self.told_in_batch = EventTime::MIN;
        Ok(Some(commit))
    }

    /// Says in the batch what time everybody was told. Of who is watched something is stored that is hardly older, so that
    /// after a restart it is known of whom nobody listened to the sensors.
    fn keep_told(&mut self) {
        for at in self.saves.behind(self.told) {
            if self.fleet.engines()[at].has_heard() && !self.fleet.is_absent(at) {
                self.batch.take_in(self.numbers[at], self.told, Input::Tick);
                self.saves.note(at, self.told);
            }
        }
        self.batch.tell_all(self.told);
        self.told_in_batch = self.told;
    }

    /// When the newest message or tick came.
    pub fn now(&self) -> EventTime {
        self.now
    }

    /// The systems watched.
    pub fn systems(&self) -> Vec<Arc<System>> {
        self.fleet.engines().iter().map(|engine| Arc::clone(engine.system())).collect()
    }

    /// The ledger, for its housekeeping.
    pub fn ledger(&mut self) -> &mut Ledger {
        &mut self.ledger
    }
}
