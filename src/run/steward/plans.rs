//! Systems whose plans change, end, and come back while the daemon serves.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use tracing::{info, warn};

use super::super::repeat;
use super::super::saves::Saves;
use super::Steward;
use super::recovery::tell_again;
use crate::engine::{Change, Effect, Engine, FindingChange, WATERMARK};
use crate::fleet::Fleet;
use crate::ledger::{LedgerFault, Lived, SystemNo};
use crate::model::{EventTime, Id, System};

/// An engine that is there again.
struct Returned {
    engine: Engine,
    /// What has to be told for it.
    changes: Vec<Effect>,
    /// How far what is stored of it reaches.
    reached: EventTime,
    /// It waits anew for everything, of which nothing is stored yet.
    is_anew: bool,
}

impl Steward {
    /// Goes on with changed plans: unchanged systems keep their engines, changed ones keep what is
    /// still there of their memory, and so do those that come back after they were gone. The findings of those that are
    /// gone are cleared, but for the systems `held`, which are not watched for now. Not while systems [learn](Self::learning): what waits for them is told by their old plans.
    ///
    /// # Errors
    /// When what was gathered under the old plans cannot be stored; nothing has changed then.
    pub fn adopt(&mut self, systems: &[Arc<System>], held: &BTreeSet<Id>) -> Result<(), LedgerFault> {
        self.put_away()?;
        let numbers = self.ledger.enrol(systems.iter().map(|system| &**system))?;
        // Before anything is taken apart, since reading the ledger may fail.
        let mut returned = self.returning(systems, &numbers)?;
        self.ledger.hold(held)?;
        self.clear_unwatched(systems, held)?;
        let mut reached: BTreeMap<_, _> =
            self.numbers.iter().enumerate().map(|(at, &number)| (number, self.saves.reached(at))).collect();
        reached.extend(returned.iter().map(|(&number, back)| (number, back.reached)));
        let fleet = std::mem::replace(&mut self.fleet, Fleet::new(&[], &self.prefix));
        let mut old: BTreeMap<_, _> = self.numbers.drain(..).zip(fleet.into_engines()).collect();
        let mut engines = Vec::with_capacity(systems.len());
        for (at, (system, number)) in systems.iter().zip(&numbers).enumerate() {
            let back = returned.remove(number);
            self.joined.extend(back.as_ref().is_some_and(|back| back.is_anew).then_some(at));
            engines.push(self.go_on(system, *number, old.remove(number), back));
        }
        for (number, engine) in old {
            if !held.contains(&engine.system().id) {
                self.retire(number, engine);
            }
        }
        self.saves = Saves::new(engines.len());
        for (at, number) in numbers.iter().enumerate() {
            self.saves.owe(at, self.now);
            self.saves.reach(at, reached.get(number).copied().unwrap_or(EventTime::MIN));
        }
        self.numbers = numbers;
        self.fleet = Fleet::with_engines(engines, &self.prefix);
        Ok(())
    }

    /// The engine that watches `system` from now on: the one that does already, one that is `back`, or a new one.
    fn go_on(
        &mut self,
        system: &Arc<System>,
        number: SystemNo,
        old: Option<Engine>,
        back: Option<Returned>,
    ) -> Engine {
        let (engine, changes) = match (old, back) {
            (Some(engine), _) if **engine.system() == **system => return engine,
            (Some(engine), _) => {
                info!(system = %system.id, "goes on with its changed plan");
                engine.moved_to(Arc::clone(system))
            }
            (None, Some(back)) => (back.engine, back.changes),
            (None, None) => return Engine::new(Arc::clone(system)),
        };
        self.conclude_all(number, changes);
        engine
    }

    /// Lets an engine go: nothing is wrong there any more as far as anybody is told, and what it has learnt is kept for
    /// the day on which its system comes back.
    fn retire(&mut self, number: SystemNo, mut engine: Engine) {
        let mut changes = Vec::new();
        engine.retire(self.now, &mut changes);
        self.conclude_all(number, changes);
        self.batch.save(number, engine.snapshot());
        info!(system = %engine.system().id, "is no longer watched");
    }

    /// Engines of `systems` that were gone and come back, as they were saved; nobody listened since they were.
    fn returning(
        &self,
        systems: &[Arc<System>],
        numbers: &[SystemNo],
    ) -> Result<BTreeMap<SystemNo, Returned>, LedgerFault> {
        let watched: BTreeSet<_> = self.numbers.iter().collect();
        let mut found = BTreeMap::new();
        for (system, number) in systems.iter().zip(numbers).filter(|(_, number)| !watched.contains(number)) {
            let restored = match self.ledger.snapshot(*number)? {
                Some(state) => Engine::restore(Arc::clone(system), &state),
                None if self.ledger.has_unsaved(*number) => Ok((Engine::new(Arc::clone(system)), Vec::new())),
                None => continue,
            };
            match restored {
                Ok((mut engine, mut changes)) => {
                    let (view, mut repeated) = (self.ledger.view()?, Vec::new());
                    self.live_on(*number, &mut engine, &mut repeated)?;
                    let reached = engine.passed() + WATERMARK;
                    let is_anew = engine.resume(self.told - WATERMARK, &mut repeated);
                    changes.extend(repeat::news(&view, &engine, repeated)?);
                    changes.extend(repeat::differences(&engine, &view.findings_open_in(&system.id)?));
                    info!(system = %system.id, "is watched again, with what it had learnt");
                    found.insert(*number, Returned { engine, changes, reached, is_anew });
                }
                Err(fault) => {
                    warn!(system = %system.id, %fault, "is watched again, but what it had learnt cannot be used");
                }
            }
        }
        Ok(found)
    }

    /// Lets an engine that was held go through what came after its snapshot, before the daemon stopped.
    fn live_on(
        &self,
        number: SystemNo,
        engine: &mut Engine,
        repeated: &mut Vec<Effect>,
    ) -> Result<(), LedgerFault> {
        let mut told = EventTime::MIN;
        self.ledger.replay_held(number, |lived| match lived {
            Lived::Told(at) => told = told.max(at),
            Lived::Input(entry) => {
                tell_again(engine, told, repeated);
                engine.apply(entry.received, &entry.input, repeated);
            }
        })
    }

    /// Clears what stands open of systems that are neither watched nor held: their files went while the daemon was away,
    /// or while they were held.
    pub(super) fn clear_unwatched(
        &mut self,
        systems: &[Arc<System>],
        held: &BTreeSet<Id>,
    ) -> Result<(), LedgerFault> {
        let engines = self.fleet.engines().iter().map(Engine::system);
        let watched: BTreeSet<Id> = systems.iter().chain(engines).map(|system| system.id.clone()).collect();
        let open = self.ledger.view()?.findings_open()?;
        for stored in open {
            if watched.contains(&stored.system) || held.contains(&stored.system) {
                continue;
            }
            let Some(number) = self.ledger.number_of(&stored.system)? else { continue };
            let cleared = FindingChange { change: Change::Cleared, at: self.now, finding: stored.finding };
            self.batch.conclude(number, Effect::Finding(cleared));
        }
        Ok(())
    }
}
