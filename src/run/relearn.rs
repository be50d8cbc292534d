//! Engines whose memory cannot be used learn anew from what the ledger keeps: after an upgrade that remembers
//! differently, or when a snapshot is damaged.
//!
//! The stored readings go through a new engine in order of time, silently: what followed from them was told, counted and
//! stored when they came. What people did is told at its times, as it stands in the records now, and the mulch of the
//! time before is taken from the forecasts. Then what the ledger holds open is brought up to what the engine believes.
//!
//! Meanwhile what comes in for such a system is stored and acknowledged, and waits (`Fleet::set_aside`). A mark in the
//! place of its memory says until when everything was told; what waits came later, and follows with all its
//! consequences when the engine takes over, in the transaction that stores its memory.

use std::collections::BTreeMap;
use std::sync::Arc;

use crate::engine::{Effect, Engine, Input, Told};
use crate::fleet::Waiting;
use crate::ledger::{LedgerFault, ServiceFilter, View};
use crate::model::{Catch, Command, EventTime, Id, Span, Subject, System, Work};

/// Time for which readings are gone through: all that is kept by default. What stands for longer than the readings reach
/// would be taken for usual, and forecasts would forget how the floors were.
const REACH: Span = Span::from_days(400);
/// Readings of so much time are in memory at once, for each processor.
const AT_ONCE: Span = Span::from_days(2);
/// Clocks of sensors may be ahead by less than this.
const AHEAD: Span = Span::HOUR;
/// More records or tests than a system ever has.
const ALL: usize = 1_000_000;

/// A system to learn anew.
pub(super) struct Lesson {
    /// Its place in the fleet.
    pub(super) place: usize,
    pub(super) system: Arc<System>,
    /// All of them, among which the others of its property are.
    systems: Arc<[Arc<System>]>,
    /// Its first reading to go through.
    pub(super) from: EventTime,
    /// As far as everything was told already.
    pub(super) until: EventTime,
    /// What came since, which its engine takes in afterwards and which is not learnt twice.
    waiting: Waiting,
}

/// An engine that has learnt anew, and what has to be told for it.
pub(super) struct Learnt {
    pub(super) place: usize,
    pub(super) engine: Engine,
    pub(super) changes: Vec<Effect>,
}

/// The lessons of the systems at the places `lost`, each with what was told and with what waits for it.
///
/// # Errors
/// When the ledger cannot be read.
pub(super) fn lessons(
    view: &View,
    systems: &[Arc<System>],
    lost: BTreeMap<usize, (EventTime, Waiting)>,
) -> Result<Vec<Lesson>, LedgerFault> {
    let systems: Arc<[Arc<System>]> = systems.into();
    let lesson = |(place, (until, waiting)): (usize, (EventTime, Waiting))| {
        let (system, systems) = (Arc::clone(&systems[place]), Arc::clone(&systems));
        let from = view.readings_kept_since(&system.id)?.unwrap_or(until).max(until - REACH);
        Ok(Lesson { place, system, systems, from, until, waiting })
    };
    lost.into_iter().map(lesson).collect()
}

/// Teaches a new engine everything that the ledger keeps, but for what waits.
pub(super) fn learn(view: &View, lesson: &Lesson) -> Result<Learnt, LedgerFault> {
    let Lesson { place, system, systems, from, until, waiting } = lesson;
    let (from, until) = (*from, *until);
    let mut engine = Engine::new(Arc::clone(system));
    let mut told = commands(view, system)?;
    waiting.leave_out(&mut told, |(_, told), input| matches!(input, Input::Command(it) if **it == *told));
    let earlier = told.partition_point(|(at, _)| *at < from);
    let mut later: Vec<_> =
        told.split_off(earlier).into_iter().map(|(at, it)| (at, Input::Command(Box::new(it)))).collect();
    remind(view, &mut engine, told, from)?;
    let siblings = systems.iter().filter(|it| it.property == system.property && it.id != system.id);
    let mut doses = siblings_doses(view, siblings, from, until)?;
    waiting.leave_out(&mut doses, |(_, dose), input| dose == input);
    later.extend(doses);
    later.sort_by_key(|(at, _)| *at);
    engine.foretell(false);
    let first = go_through(view, &mut engine, later, lesson)?;
    engine.foretell(true);
    let mut changes = Vec::new();
    let told = view.findings_open_in(&system.id)?.into_iter();
    let told: Vec<_> = told.map(|open| Told { raised_at: open.raised_at, finding: open.finding }).collect();
    let (first, began) = (first.unwrap_or(until), view.heard_since(&system.id)?.unwrap_or(until));
    // Of what is no longer kept, the beginning is known by its day.
    let all = first - began < Span::DAY;
    engine.reconcile_learnt(&told, first, all, &mut changes);
    Ok(Learnt { place: *place, engine, changes })
}

/// Applies the readings of `lesson`, and `later` at its times; when the first of them was measured.
fn go_through(
    view: &View,
    engine: &mut Engine,
    later: Vec<(EventTime, Input)>,
    lesson: &Lesson,
) -> Result<Option<EventTime>, LedgerFault> {
    let Lesson { system, from, until, waiting, .. } = lesson;
    let until = *until;
    let mut silent = Vec::new();
    let mut apply = |at: EventTime, input: &Input| {
        engine.apply(at.min(until), input, &mut silent);
        silent.clear();
    };
    let (mut first, mut start, mut later) = (None, *from, later.into_iter().peekable());
    while start <= until + AHEAD {
        let mut readings = view.readings(system, start, start + AT_ONCE)?;
        // Asked after reading, so that of whatever was read it is known whether it waits.
        let late = waiting.readings_within(start, start + AT_ONCE);
        if !late.is_empty() {
            readings.retain(|reading| !late.contains(&(reading.at, reading.sensor)));
        }
        for reading in readings {
            first.get_or_insert(reading.at);
            while let Some((at, input)) = later.next_if(|(at, _)| *at <= reading.at) {
                apply(at, &input);
            }
            apply(reading.at, &Input::Reading(reading));
        }
        start = start + AT_ONCE;
    }
    later.for_each(|(at, input)| apply(at, &input));
    apply(until, &Input::Tick);
    Ok(first)
}

/// What people did on a system, as the records have it now, by when it was done.
fn commands(view: &View, system: &System) -> Result<Vec<(EventTime, Command)>, LedgerFault> {
    let records = ServiceFilter { systems: Some(vec![system.id.clone()]), ..ServiceFilter::default() };
    let services = view.services(&records, ALL)?;
    // Of work at one time, what was written down first comes first.
    let mut commands: Vec<_> = services.iter().rev().flat_map(|it| it.record.told()).collect();
    for test in view.flow_tests(&system.id, EventTime::MIN, EventTime::MAX, ALL)? {
        commands.extend(test.run_ends.iter().map(|(at, _)| Command::RunEnded { at: *at }));
        commands.extend(test.runs.into_iter().map(|(at, caught)| {
            let litres = caught.into_iter().map(|(basin, caught)| (basin, caught.litres)).collect();
            Command::Caught(Catch { at, litres })
        }));
    }
    let mut commands: Vec<_> = commands.into_iter().map(|command| (command.at(), command)).collect();
    commands.sort_by_key(|(at, _)| *at);
    Ok(commands)
}

/// When the other systems of the property had doses: by their beginnings, for nothing says when they were concluded.
fn siblings_doses<'a>(
    view: &View,
    siblings: impl Iterator<Item = &'a Arc<System>>,
    from: EventTime,
    until: EventTime,
) -> Result<Vec<(EventTime, Input)>, LedgerFault> {
    let mut used = Vec::new();
    for sibling in siblings {
        let doses = view.doses(&sibling.id, from, until)?.into_iter().filter(|dose| dose.quality > 0.0);
        used.extend(doses.map(|dose| (dose.at, Input::SiblingUsed(dose.at))));
    }
    Ok(used)
}

/// Tells a new engine what was done before `from`, and how the mulch was by then.
fn remind(
    view: &View,
    engine: &mut Engine,
    earlier: Vec<(EventTime, Command)>,
    from: EventTime,
) -> Result<(), LedgerFault> {
    let system = Arc::clone(engine.system());
    // Of each basin, when its mulch was last measured or renewed: older forecasts are about what was there before.
    let mut since = vec![EventTime::MIN; system.basins.len()];
    let mut silent = Vec::new();
    for (at, command) in earlier {
        if let Some(basin) = mulch_of(&command).and_then(|basin| system.find_basin(basin.as_str())) {
            let last = std::mem::replace(&mut since[basin.0 as usize], at);
            recall_mulch(view, engine, &system.basin(basin).id, (last, at))?;
        }
        engine.apply(at, &Input::Command(Box::new(command)), &mut silent);
        silent.clear();
    }
    for (basin, since) in system.basins.iter().zip(since) {
        recall_mulch(view, engine, &basin.id, (since, from))?;
    }
    Ok(())
}

/// What the last forecast made within a time said of a basin's mulch.
fn recall_mulch(
    view: &View,
    engine: &mut Engine,
    basin: &Id,
    (from, to): (EventTime, EventTime),
) -> Result<(), LedgerFault> {
    let system = Arc::clone(engine.system());
    let made = view.forecasts_of(&system.id, basin, from, to)?;
    if let (Some(last), Some(basin)) = (made.last(), system.find_basin(basin.as_str())) {
        engine.recall_mulch(basin, last.litres, last.mulch_left);
    }
    Ok(())
}

/// The basin of whose mulch `command` tells something.
fn mulch_of(command: &Command) -> Option<&Id> {
    let Command::Serviced(service) = command else { return None };
    let Subject::Basin(basin) = &service.subject else { return None };
    let tells = service.mulch_found_mm.is_some() || service.work.contains(&Work::MulchRenewed);
    tells.then_some(basin)
}
