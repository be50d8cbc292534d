//! Systems whose plans change, end, and come back while the daemon serves.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use tracing::{info, warn};

use super::super::repeat;
use super::super::saves::Saves;
use super::Steward;
use crate::engine::{Change, Effect, Engine, FindingChange};
use crate::fleet::Fleet;
use crate::ledger::{LedgerFault, SystemNo};
use crate::model::System;

impl Steward {
    /// Goes on with changed plans: unchanged systems keep their engines, changed ones keep what is
    /// still there of their memory, and so do those that come back after they were gone. The findings of those that are
    /// gone are cleared. Not while systems [learn](Self::learning): what waits for them is told by their old plans.
    ///
    /// # Errors
    /// When what was gathered under the old plans cannot be stored; nothing has changed then.
    pub fn adopt(&mut self, systems: &[Arc<System>]) -> Result<(), LedgerFault> {
        self.put_away()?;
        let numbers = self.ledger.enrol(systems.iter().map(|system| &**system))?;
        // Before anything is taken apart, since reading the ledger may fail.
        let mut returned = self.returning(systems, &numbers)?;
        let fleet = std::mem::replace(&mut self.fleet, Fleet::new(&[], &self.prefix));
        let mut old: BTreeMap<_, _> = self.numbers.drain(..).zip(fleet.into_engines()).collect();
        let mut engines = Vec::with_capacity(systems.len());
        for (system, &number) in systems.iter().zip(&numbers) {
            let engine = match old.remove(&number) {
                Some(engine) if **engine.system() == **system => engine,
                Some(engine) => {
                    let (engine, changes) = engine.moved_to(Arc::clone(system));
                    self.conclude_all(number, changes);
                    info!(system = %system.id, "goes on with its changed plan");
                    engine
                }
                None => match returned.remove(&number) {
                    Some((engine, changes)) => {
                        self.conclude_all(number, changes);
                        engine
                    }
                    None => Engine::new(Arc::clone(system)),
                },
            };
            engines.push(engine);
        }
        for (number, engine) in old {
            self.retire(number, engine);
        }
        self.saves = Saves::new(engines.len());
        (0..engines.len()).for_each(|at| self.saves.note(at, self.now));
        self.numbers = numbers;
        self.fleet = Fleet::with_engines(engines, &self.prefix);
        Ok(())
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

    /// Engines of `systems` that were gone and come back, as they were saved.
    fn returning(
        &self,
        systems: &[Arc<System>],
        numbers: &[SystemNo],
    ) -> Result<BTreeMap<SystemNo, (Engine, Vec<Effect>)>, LedgerFault> {
        let watched: BTreeSet<_> = self.numbers.iter().collect();
        let mut found = BTreeMap::new();
        for (system, number) in systems.iter().zip(numbers).filter(|(_, number)| !watched.contains(number)) {
            let Some(state) = self.ledger.snapshot(*number)? else { continue };
            match Engine::restore(Arc::clone(system), &state) {
                Ok((engine, mut changes)) => {
                    let open = self.ledger.view()?.findings_open_in(&system.id)?;
                    changes.extend(repeat::differences(&engine, &open));
                    info!(system = %system.id, "is watched again, with what it had learnt");
                    found.insert(*number, (engine, changes));
                }
                Err(fault) => {
                    warn!(system = %system.id, %fault, "is watched again, but what it had learnt cannot be used");
                }
            }
        }
        Ok(found)
    }

    /// Clears what stands open of systems that are not watched: their files went while the daemon was away.
    pub(super) fn clear_unwatched(&mut self, systems: &[Arc<System>]) -> Result<(), LedgerFault> {
        let watched: BTreeSet<_> = systems.iter().map(|system| &system.id).collect();
        let open = self.ledger.view()?.findings_open()?;
        for stored in open.into_iter().filter(|stored| !watched.contains(&stored.system)) {
            let Some(number) = self.ledger.number_of(&stored.system)? else { continue };
            let cleared = FindingChange { change: Change::Cleared, at: self.now, finding: stored.finding };
            self.batch.conclude(number, Effect::Finding(cleared));
        }
        Ok(())
    }
}
