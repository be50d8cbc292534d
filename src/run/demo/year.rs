//! Yards looked after by the plan alone, in step with the daemon that watches them.

use std::sync::Arc;

use super::deeds::Deed;
use super::technician;
use super::tended::{TendedYard, arrived};
use crate::ledger::{LedgerFault, Order, View};
use crate::model::{EventTime, Id, RecordKey, Span, Subject, System};
use crate::run::Steward;
use crate::schedule::work_out;
use crate::upkeep::{Crew, Day, Plan, Rules, TaskKey};

/// The clock moves by this while nobody works.
const STEP: Span = Span::from_hours(6);

/// A visit that was made.
#[derive(Clone, Debug)]
pub struct Made {
    /// When it began.
    pub at: EventTime,
    /// Where.
    pub property: Id,
    /// What was done.
    pub tasks: Vec<TaskKey>,
}

/// The yards and their daemon, as far as time has come.
pub struct Year<'s> {
    yards: Vec<TendedYard>,
    /// Of each yard.
    systems: Vec<Arc<System>>,
    steward: &'s mut Steward,
    view: View,
    care: (Rules, Crew),
    now: EventTime,
    keys: u64,
}

impl<'s> Year<'s> {
    /// `yards` from where `steward`, who watches all of them, stands; `view` reads its ledger.
    pub fn new(yards: Vec<TendedYard>, steward: &'s mut Steward, view: View, care: (Rules, Crew)) -> Self {
        let begins = yards.iter().map(TendedYard::begins).min().unwrap_or(EventTime::MIN);
        let (now, watched) = (steward.now().max(begins), steward.systems());
        let of = |yard: &TendedYard| watched.iter().find(|system| system.id.as_str() == yard.id()).cloned();
        let (mut yards, systems): (Vec<_>, Vec<_>) =
            yards.into_iter().filter_map(|yard| of(&yard).map(|system| (yard, system))).unzip();
        // What was received before is in the ledger already.
        for yard in &mut yards {
            yard.live_until(now);
        }
        Self { yards, systems, steward, view, care, now, keys: 0 }
    }

    /// Lives on until `end`: on every working day the plan is made anew, and its visits of the day are made. Each is
    /// `told` once it is over, with the yards as they are then.
    ///
    /// # Errors
    /// The ledger cannot be used.
    pub fn live(
        mut self,
        end: EventTime,
        mut told: impl FnMut(&Made, &[TendedYard]),
    ) -> Result<Vec<TendedYard>, LedgerFault> {
        let (rules, crew) = self.care.clone();
        let mut plan = self.view.plan()?.map(|(_, plan)| plan).unwrap_or_default();
        let zone = self.systems.first().map_or(jiff::tz::TimeZone::UTC, |system| system.zone.clone());
        for today in
            (Day::of(self.now, &zone).0..=Day::of(end, &zone).0).map(Day).filter(|day| crew.days.has(*day))
        {
            let morning = self.systems.iter().map(|system| today.at(crew.starts_at, &system.zone)).min();
            let Some(morning) = morning.filter(|morning| *morning > self.now && *morning < end) else {
                continue;
            };
            self.live_until(morning)?;
            plan = work_out(&self.view, &self.systems, (&rules, &crew), &plan, self.now)?.plan;
            self.order(Order::Plan { made: self.now, plan: plan.clone() })?;
            for made in self.of_today(&plan, today) {
                self.live_until(made.at)?;
                technician::visit(&mut self, &made.tasks)?;
                told(&made, &self.yards);
            }
        }
        self.live_until(end)?;
        self.steward.put_away()?;
        Ok(self.yards)
    }

    /// The visits of a day, in the order in which they begin around the world.
    fn of_today(&self, plan: &Plan, today: Day) -> Vec<Made> {
        let visits = plan.visits.iter().filter(|visit| visit.day == today);
        let mut made: Vec<Made> = visits
            .filter_map(|visit| {
                let system = self.systems.iter().find(|system| system.property == visit.property)?;
                let at = today.at(visit.starts_at, &system.zone).max(self.now);
                Some(Made { at, property: visit.property.clone(), tasks: visit.tasks.clone() })
            })
            .collect();
        made.sort_by_key(|visit| visit.at);
        made
    }

    /// How far time has come.
    pub fn now(&self) -> EventTime {
        self.now
    }

    /// The system of the yard at `place`.
    pub fn system(&self, place: usize) -> &System {
        &self.systems[place]
    }

    /// The yard that belongs to `system`.
    pub fn place_of(&self, system: &Id) -> usize {
        self.systems.iter().position(|it| it.id == *system).expect("tasks are worked out for these systems")
    }

    /// What each basin of the yard at `place` received of the newest dose.
    pub(super) fn truly_received(&mut self, place: usize) -> Vec<(Id, f64)> {
        let basins = self.systems[place].basins.iter().map(|basin| basin.id.clone());
        let newest = self.yards[place].doses().last().map(|dose| dose.basin_litres.clone());
        basins.zip(newest.unwrap_or_default()).collect()
    }

    /// How deep the mulch of a basin of the yard at `place` truly is, mm.
    pub(super) fn mulch_mm(&mut self, place: usize, subject: &Subject) -> Option<f64> {
        let Subject::Basin(id) = subject else { return None };
        let basin = self.systems[place].find_basin(id.as_str())?;
        Some(self.yards[place].field().world().basin(usize::from(basin.0)).mulch_depth_mm)
    }

    pub(super) fn view(&self) -> &View {
        &self.view
    }

    pub(super) fn new_key(&mut self) -> RecordKey {
        self.keys += 1;
        RecordKey::new(&format!("made-up-{}-{:04}", self.now.millis(), self.keys))
            .expect("it is long and plain")
    }

    /// Somebody does this in turn in one yard, and it is over when this returns.
    pub(super) fn put_to(&mut self, place: usize, deeds: Vec<Deed>, each: Span) -> Result<(), LedgerFault> {
        let takes = each.scaled(deeds.len().max(1) as f64);
        self.yards[place].put_to(deeds, each);
        self.live_until(self.now + takes)
    }

    pub(super) fn live_until(&mut self, until: EventTime) -> Result<(), LedgerFault> {
        while self.now < until {
            self.now = (self.now + STEP).min(until);
            for message in arrived(&mut self.yards, self.now) {
                let received = EventTime::from_millis(message.received_ms);
                self.steward.take(received, &message.topic, &message.payload);
            }
            self.steward.tick(self.now);
        }
        self.steward.store()?;
        Ok(())
    }

    /// Places an order and commits it.
    pub(super) fn order(&mut self, order: Order) -> Result<(), LedgerFault> {
        self.steward.order(self.now, order).expect("it is about one of these systems");
        let commit = self.steward.store()?;
        let refused = commit.into_iter().flat_map(|commit| commit.answers).find_map(Result::err);
        assert!(refused.is_none(), "what was made up is refused: {refused:?}");
        Ok(())
    }
}
