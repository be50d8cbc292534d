//! Engines whose memory cannot be used learn anew from what the ledger keeps: after an upgrade that remembers
//! differently, or when a snapshot is damaged.
//!
//! The stored readings go through a new engine in order of time, silently: what followed from them was told, counted and
//! stored when they came. What people did is told at its times, as it stands in the records now, and the mulch of the
//! time before is taken from the forecasts. Then what the ledger holds open is brought up to what the engine believes.

use std::collections::BTreeMap;
use std::num::NonZero;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::mpsc;
use std::thread;

use tracing::info;

use super::systemd;
use crate::engine::{Effect, Engine, Input, Told};
use crate::ledger::{Batch, Ledger, LedgerFault, Recovery, ServiceFilter, Snapshot, SystemNo, View};
use crate::model::{Catch, Command, EventTime, Id, Span, Subject, System, Work};

/// Time for which readings are gone through: all that is kept by default. What stands for longer than the readings reach
/// would be taken for usual, and forecasts would forget how the floors were.
const REACH: Span = Span::from_days(400);
/// Readings of so much time are in memory at once, for each processor.
const AT_ONCE: Span = Span::from_days(2);
/// Clocks of sensors may be ahead by less than this.
const AHEAD: Span = Span::HOUR;
/// Systems after which progress is told.
const PROGRESS: usize = 25;
/// More records or tests than a system ever has.
const ALL: usize = 1_000_000;

/// A system to learn anew: its place, the system, and the others of its property.
struct Lesson<'a> {
    place: usize,
    system: &'a Arc<System>,
    siblings: Vec<&'a Id>,
}

/// An engine that has learnt anew, and what has to be told for it.
struct Learnt {
    place: usize,
    engine: Engine,
    changes: Vec<Effect>,
}

/// Lets the engines of `systems` at the places `lost` learn anew, and stores each as soon as it has, so that an upgrade
/// that is broken off goes on where it was.
///
/// # Errors
/// When the ledger cannot be read or written.
pub(super) fn relearn(
    ledger: &mut Ledger,
    (systems, numbers): (&[Arc<System>], &[SystemNo]),
    lost: &[usize],
    recovery: &mut Recovery,
) -> Result<Vec<(usize, Engine)>, LedgerFault> {
    // Without a message there is nothing to learn from.
    let Some(until) = recovery.last_received.filter(|_| !lost.is_empty()) else { return Ok(Vec::new()) };
    info!(systems = lost.len(), "going through the stored readings of systems whose memory cannot be used");
    let view = ledger.view()?;
    let mut engines = Vec::with_capacity(lost.len());
    let mut batch = Batch::default();
    on_every_processor(
        &lessons(systems, lost),
        |lesson| learn(&view, lesson, until),
        |learnt| {
            let number = numbers[learnt.place];
            learnt.changes.into_iter().for_each(|effect| batch.conclude(number, effect));
            batch.save(number, learnt.engine.snapshot());
            let seq = ledger.commit(&batch)?.seq;
            batch.clear();
            recovery.snapshots.insert(number, Snapshot { seq, state: Vec::new() });
            engines.push((learnt.place, learnt.engine));
            progress(engines.len(), lost.len());
            Ok(())
        },
    )?;
    Ok(engines)
}

fn progress(done: usize, of: usize) {
    systemd::still_starting(&format!("learning anew from the stored readings: {done} of {of} systems"));
    if done.is_multiple_of(PROGRESS) || done == of {
        info!(done, of, "learnt anew from the stored readings");
    }
}

fn lessons<'a>(systems: &'a [Arc<System>], lost: &[usize]) -> Vec<Lesson<'a>> {
    let mut together: BTreeMap<&Id, Vec<&Id>> = BTreeMap::new();
    for system in systems {
        together.entry(&system.property).or_default().push(&system.id);
    }
    let lesson = |&place: &usize| {
        let system = &systems[place];
        let siblings = together[&system.property].iter().copied().filter(|id| **id != system.id).collect();
        Lesson { place, system, siblings }
    };
    lost.iter().map(lesson).collect()
}

/// Takes all `lessons` and gives each result to `each` on this thread; the first fault ends it.
fn on_every_processor(
    lessons: &[Lesson<'_>],
    learn: impl Fn(&Lesson<'_>) -> Result<Learnt, LedgerFault> + Sync,
    mut each: impl FnMut(Learnt) -> Result<(), LedgerFault>,
) -> Result<(), LedgerFault> {
    let threads = thread::available_parallelism().map_or(1, NonZero::get).min(lessons.len());
    let (learn, next) = (&learn, &AtomicUsize::new(0));
    thread::scope(|scope| {
        let (done, finished) = mpsc::sync_channel(0);
        for _ in 0..threads {
            let done = done.clone();
            scope.spawn(move || {
                while let Some(lesson) = lessons.get(next.fetch_add(1, Ordering::Relaxed)) {
                    // Nobody listens any more after a fault.
                    if done.send(learn(lesson)).is_err() {
                        break;
                    }
                }
            });
        }
        drop(done);
        finished.into_iter().try_for_each(|learnt| each(learnt?))
    })
}

/// Teaches a new engine everything up to `until` that the ledger keeps.
fn learn(view: &View, lesson: &Lesson<'_>, until: EventTime) -> Result<Learnt, LedgerFault> {
    let Lesson { place, system, siblings } = lesson;
    let mut engine = Engine::new(Arc::clone(system));
    let kept = view.readings_kept_since(&system.id)?.unwrap_or(until);
    let from = kept.max(until - REACH);
    let mut told = commands(view, system)?;
    let earlier = told.partition_point(|(at, _)| *at < from);
    let mut later: Vec<_> =
        told.split_off(earlier).into_iter().map(|(at, it)| (at, Input::Command(Box::new(it)))).collect();
    remind(view, &mut engine, told, from)?;
    later.extend(siblings_doses(view, siblings, from, until)?);
    later.sort_by_key(|(at, _)| *at);
    engine.foretell(false);
    let first = go_through(view, &mut engine, later, from, until)?;
    engine.foretell(true);
    let mut changes = Vec::new();
    let told = view.findings_open_in(&system.id)?.into_iter();
    let told: Vec<_> = told.map(|open| Told { raised_at: open.raised_at, finding: open.finding }).collect();
    let (first, began) = (first.unwrap_or(until), view.heard_since(&system.id)?.unwrap_or(until));
    // Of what is no longer kept, the beginning is known by its day.
    let all = first - began < Span::DAY;
    engine.reconcile(&told, first, all, &mut changes);
    Ok(Learnt { place: *place, engine, changes })
}

/// Applies the readings of `from` to `until`, and `later` at its times; when the first of them was measured.
fn go_through(
    view: &View,
    engine: &mut Engine,
    later: Vec<(EventTime, Input)>,
    from: EventTime,
    until: EventTime,
) -> Result<Option<EventTime>, LedgerFault> {
    let system = Arc::clone(engine.system());
    let mut silent = Vec::new();
    let mut apply = |at: EventTime, input: &Input| {
        engine.apply(at.min(until), input, &mut silent);
        silent.clear();
    };
    let (mut first, mut start, mut later) = (None, from, later.into_iter().peekable());
    while start <= until + AHEAD {
        for reading in view.readings(&system, start, start + AT_ONCE)? {
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
fn siblings_doses(
    view: &View,
    siblings: &[&Id],
    from: EventTime,
    until: EventTime,
) -> Result<Vec<(EventTime, Input)>, LedgerFault> {
    let mut used = Vec::new();
    for sibling in siblings {
        let doses = view.doses(sibling, from, until)?.into_iter().filter(|dose| dose.quality > 0.0);
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
