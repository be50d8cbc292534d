//! Watches a system's doses: shares, and what to conclude when they change.

mod by_floats;
mod conclude;
mod glance;
mod jammed;
mod mended;

use serde::{Deserialize, Serialize};

use super::alarm::{Relief, Test};
use super::cause::Cause;
use super::diagnose::sum;
use super::episode::{Episode, Gathering};
use super::gains::Gains;
use super::habit::Habits;
use super::likelihood::common;
use super::measure::{Measured, PartState, Shown, measure};
use super::recent::{Past, Recent};
use super::rises::{self, Rises};
use super::told;
use super::track::Tracks;
use super::volume::Volumes;
use crate::engine::Effect;
use crate::engine::board::{Board, Spot};
use crate::engine::signal::Wetting;
use crate::model::{BasinIx, EventTime, FindingKind, Span, System};

/// Sum of a test that counts as a sign, and more water that matters (logarithm).
const SIGNS: f64 = 3.0;
const NOTABLY_MORE: f64 = 0.2;
/// A meter is believed that counted nothing of so many episodes in a row.
const UNMETERED: u8 = 10;
/// Spread of the common level at a number of litres (logarithm).
const SIZE_SPREAD: f64 = 0.3;

/// Everything known of the doses of one system.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) struct DoseWatch {
    gathering: Gathering,
    habits: Habits,
    /// One for each cause that is watched for, in their order.
    tests: Vec<Test>,
    /// The same where only floats tell of water.
    rises: Rises,
    recent: Recent,
    /// What is believed to be wrong.
    standing: Vec<Standing>,
    /// Last count of the meter.
    meter: Option<f64>,
    /// Episodes in a row of which the meter counted nothing.
    unmetered: u8,
    /// Size of the last episode against the usual.
    last_size: f64,
    tracks: Tracks,
    gains: Gains,
    volumes: Volumes,
}

/// A cause that was concluded and is not over.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
struct Standing {
    since: EventTime,
    cause: Cause,
    relief: Relief,
}

/// Whether water comes that is no dose.
fn water_is_unexpected(board: &Board) -> bool {
    [Spot::Source, Spot::Diverter].into_iter().any(|spot| board.stands(FindingKind::UnexpectedWater, spot))
}

/// Whether a cause concerns a basin that was known to soak slowly before it began at `since`: water that lingers changes
/// how its probe answers to the next dose, which looks like less water. A float only stays up for longer.
fn soaks_slowly(system: &System, cause: Cause, since: EventTime, board: &Board) -> bool {
    match cause {
        _ if !lingering_is_known(system) => false,
        Cause::Blocked { basin, .. } | Cause::Sensor { basin, .. } => {
            board.since(FindingKind::SlowSoak, Spot::Basin(basin)).is_some_and(|slow| slow <= since)
        }
        Cause::Tilted { .. } | Cause::Lingers { .. } => false,
    }
}

/// Whether it is more than a guess that water of one dose lingers in a basin until the next comes, so that its probe
/// rises less than the dose would make it. Without a meter, and by floats, more water from a neighbour whose outlet is
/// blocked looks the same.
fn lingering_is_known(system: &System) -> bool {
    !system.has_floats_alone() && system.source.is_metered()
}

/// The parts of the engine that a dose needs to see.
pub(crate) struct DoseView<'a> {
    pub(crate) system: &'a System,
    /// By basin.
    pub(crate) shown: &'a [Shown],
    pub(crate) has_gauge: bool,
    /// Whether the diverter lets water into the yard.
    pub(crate) to_landscape: bool,
}

impl DoseWatch {
    pub(crate) fn new(system: &System) -> Self {
        Self {
            gathering: Gathering::default(),
            habits: Habits::new(system.basins.len()),
            tests: vec![Test::default(); Cause::coarse(system).count()],
            rises: Rises::new(system.basins.len()),
            recent: Recent::default(),
            standing: Vec::new(),
            meter: None,
            unmetered: 0,
            last_size: 1.0,
            tracks: Tracks::new(system.basins.len()),
            gains: Gains::new(system.basins.len()),
            volumes: Volumes::default(),
        }
    }

    /// Water showed in a basin; says whether an episode began.
    pub(crate) fn active(&mut self, at: EventTime, usual_gap: Span) -> bool {
        self.gathering.active(at, usual_gap, self.habits.basins.len())
    }

    /// Water of before stands in a basin as the episode begins.
    pub(crate) fn stood_before(&mut self, basin: BasinIx) {
        self.gathering.stood_before(basin.0 as usize);
    }

    /// A wetting is over.
    pub(crate) fn wetted(&mut self, basin: BasinIx, wetting: &Wetting) {
        self.gathering.wetted(basin.0 as usize, wetting);
    }

    /// A float rose.
    pub(crate) fn rose(&mut self, basin: BasinIx, at: EventTime) {
        self.gathering.rose(basin.0 as usize, at);
    }

    /// A float fell.
    pub(crate) fn fell(&mut self, basin: BasinIx, began: EventTime, at: EventTime) {
        self.gathering.fell(basin.0 as usize, began, at);
    }

    /// Minutes that a basin's float was up during the episode under way.
    pub(crate) fn float_minutes(&self, basin: usize) -> f64 {
        self.gathering.float_minutes(basin)
    }

    /// Litres that the meter has passed since it was last read.
    pub(crate) fn passed(&mut self, system: &System, count: f64) -> f64 {
        let litres = system.source.litres_per_count.unwrap_or(1.0);
        let before = self.meter.replace(count);
        // A count below the one before is a meter that began anew.
        before.map_or(0.0, |before| ((count - before) * litres).max(0.0))
    }

    /// The meter passed so many litres in the episode under way.
    pub(crate) fn metered(&mut self, at: EventTime, litres: f64) {
        self.gathering.metered(at, litres);
    }

    /// The gauge counted rain.
    pub(crate) fn rained(&mut self, at: EventTime) {
        self.gathering.rained(at);
    }

    /// Nobody listened until `at`: of a dose under way the rest was not heard, and what the meter counted meanwhile is no
    /// dose.
    pub(crate) fn unheard_until(&mut self, system: &System, at: EventTime) {
        self.gathering.abandon();
        self.meter = None;
        self.volumes.unheard_until(system, at);
    }

    /// A run of water for a test is over.
    pub(crate) fn run_ended(&mut self, at: EventTime) {
        self.gathering.run_ended(at);
    }

    /// The part of a usual dose that each basin receives, by what is known and believed now. What probes show less of
    /// beyond that does not count: a floor that silts up takes it from them long before it is known to.
    pub(crate) fn shares(&self, system: &System) -> Vec<f64> {
        let mut believed = self.believed();
        believed.retain(|cause| !matches!(cause, Cause::Sensor { .. }));
        let share = |basin: BasinIx| {
            self.gains.share(system, basin) * sum(system, &believed, basin.0 as usize, 1.0).exp()
        };
        let shares: Vec<f64> = system.basin_ixs().map(share).collect();
        let total: f64 = shares.iter().sum();
        shares.into_iter().map(|share| share / total).collect()
    }

    /// Water of the last episode against the usual one.
    pub(crate) fn last_size(&self) -> f64 {
        self.last_size
    }

    /// Whether there are signs of a cause, not concluded yet, that brings basin `i` notably more water than before.
    pub(crate) fn may_bring_more(&self, system: &System, i: usize) -> bool {
        let brings_more = |cause: Cause| {
            !matches!(cause, Cause::Sensor { .. }) && cause.change(system, i, 1.0) >= NOTABLY_MORE
        };
        let signs = self.tests.iter().zip(Cause::coarse(system)).filter(|(test, _)| test.sum() >= SIGNS);
        let missing = system.basin_ixs().filter(|basin| self.rises.missing(system, *basin).sum >= SIGNS);
        signs.map(|(_, cause)| cause).chain(missing.map(rises::blocked)).any(brings_more)
    }

    /// When the episode under way will be finished, or looked at in its course.
    pub(crate) fn due(&self) -> Option<EventTime> {
        Some(self.gathering.due()?.min(self.gathering.glance_due()?))
    }

    /// Whether the episode under way waits for a probe that still rose at `grew_at`.
    pub(crate) fn waits(&mut self, grew_at: EventTime, usual_gap: Span, now: EventTime) -> bool {
        self.gathering.wait(grew_at, usual_gap, now)
    }

    /// Finishes the episode if its time has come.
    pub(crate) fn finish(
        &mut self,
        view: &DoseView<'_>,
        now: EventTime,
        board: &mut Board,
        out: &mut Vec<Effect>,
    ) {
        let Some(episode) = self.gathering.take(now) else { return };
        // A probe that is heard seldom shows late what has been told already.
        if self.recent.has(episode.began) || self.tracks.have(episode.began) {
            return;
        }
        if self.has_meter(view.system) && self.is_unmetered(&episode) {
            return;
        }
        let is_dose = view.to_landscape && !water_is_unexpected(board);
        if view.system.has_floats_alone() && is_dose && !episode.rain {
            self.take_by_floats(view, &episode, now, board, out);
        }
        let Some(mut measured) = self.measured(view, &episode, board) else { return };
        let lingers = |i: usize| board.stands(FindingKind::SlowSoak, Spot::Basin(BasinIx(i as u16)));
        let believed = self.believed();
        let size = self.recent.size(measured.size);
        self.last_size = size;
        let change = |i| sum(view.system, &believed, i, size);
        measured.common = common(&measured.parts, change, measured.prior);
        // A float tells that water stood, hardly how much came.
        let is_left_out = |i: usize| lingers(i) || matches!(view.shown[i], Shown::Float { .. });
        let changes = self.tracks.shares(episode.began, &measured, is_left_out, change);
        let litres =
            measured.metered.or_else(|| self.estimate(view.system, episode.began, &measured, is_dose));
        out.push(Effect::Dose(told::dose(
            view.system,
            &self.gains,
            episode.began,
            &measured,
            &changes,
            litres,
        )));
        if !is_dose {
            // What leaks, or seeps past a diverter, is too slow for splitters to divide as they do a dose.
            self.tests.fill(Test::default());
        } else if !measured.rain {
            self.take(view, episode.began, &measured, now, board, out);
            if !view.system.has_floats_alone() {
                self.take_jammed(view, &episode, &measured, (now, board), out);
            }
        }
    }

    /// Whether a meter is there that was read.
    fn has_meter(&self, system: &System) -> bool {
        system.source.is_metered() && self.meter.is_some()
    }

    /// What an episode brought to each basin, as far as it shows.
    fn measured(&self, view: &DoseView<'_>, episode: &Episode, board: &Board) -> Option<Measured> {
        let has_meter = self.has_meter(view.system);
        let measured = measure(view.system, episode, view.shown, &self.habits, has_meter, view.has_gauge);
        let mut measured = measured?;
        for (i, part) in measured.parts.iter_mut().enumerate() {
            let stands = |kind| board.stands(kind, Spot::Basin(BasinIx(i as u16)));
            let is_flooded = episode.responses[i].stood_before
                || stands(FindingKind::Flooding)
                || stands(FindingKind::Ponding);
            let lingers = stands(FindingKind::SlowSoak) && lingering_is_known(view.system);
            // Under standing water soil takes no more, however much comes.
            if matches!(view.shown[i], Shown::Rise { .. }) && (is_flooded || lingers) {
                part.state = PartState::Unknown;
            }
        }
        Some(measured)
    }

    /// The same without the basins whose sensors are not known yet.
    fn known_of(&self, mut measured: Measured) -> Measured {
        for (part, habit) in measured.parts.iter_mut().zip(&self.habits.basins) {
            if !habit.is_known() {
                part.state = PartState::Unknown;
            }
        }
        measured
    }

    /// Litres of what no meter counts, once they can be told; rain and leaks say nothing of the household.
    fn estimate(
        &mut self,
        system: &System,
        began: EventTime,
        measured: &Measured,
        is_dose: bool,
    ) -> Option<f64> {
        if system.source.is_metered() || system.has_floats_alone() || !is_dose {
            return None;
        }
        let log_size = self.habits.unfolded(measured.level + measured.common);
        self.volumes.note(system, began, log_size, measured.rain);
        self.volumes.litres(&system.source, log_size).filter(|_| !measured.rain)
    }

    /// Whether a meter that counts says that no water came: what probes show is the rest of what came before, or
    /// warmth. A meter that misses everything is believed no longer.
    fn is_unmetered(&mut self, episode: &Episode) -> bool {
        if episode.metered > 0.0 {
            self.unmetered = 0;
            return false;
        }
        self.unmetered = self.unmetered.saturating_add(1);
        self.unmetered <= UNMETERED
    }

    fn take(
        &mut self,
        view: &DoseView<'_>,
        began: EventTime,
        measured: &Measured,
        now: EventTime,
        board: &mut Board,
        out: &mut Vec<Effect>,
    ) {
        let (system, size) = (view.system, self.recent.size(measured.size));
        self.learn(view, measured, size);
        let past = self.recent.note(began, &self.known_of(measured.clone())).clone();
        let known = past.parts.iter().filter(|part| part.state != PartState::Unknown).count();
        if known < 2 || system.has_floats_alone() {
            return;
        }
        self.test(system, &past);
        self.relieve(system, &past, now, board, out);
        self.reconsider(system, now, board, out);
        self.look_into(system, |_| true, now, board, out);
    }

    /// What is believed to be wrong.
    fn believed(&self) -> Vec<Cause> {
        self.standing.iter().map(|standing| standing.cause).collect()
    }

    fn learn(&mut self, view: &DoseView<'_>, measured: &Measured, size: f64) {
        let suspected = self.tests.iter().any(Test::is_suspicious);
        let believed = self.believed();
        let level = measured.level + measured.common;
        self.habits.reach(level);
        if let Some(litres) = measured.metered {
            self.habits.size.learn(litres.ln(), level, 0.0, SIZE_SPREAD, suspected);
        }
        for (i, (habit, part)) in self.habits.basins.iter_mut().zip(&measured.parts).enumerate() {
            if part.state == PartState::Measured {
                let shown = f64::from(part.log_shown) - part.moves(sum(view.system, &believed, i, size));
                let deviation = f64::from(part.deviation);
                habit.learn(measured.level, shown, measured.common, deviation, suspected);
            }
            if let Shown::Rise { before, .. } = view.shown[i] {
                habit.learn_before(before, suspected);
            }
        }
    }

    fn test(&mut self, system: &System, past: &Past) {
        let believed = self.believed();
        let as_believed = past.log_likelihood(|i| sum(system, &believed, i, past.size));
        for (test, cause) in self.tests.iter_mut().zip(Cause::coarse(system)) {
            if believed.iter().any(|known| known.is_same(cause)) {
                continue;
            }
            let change = |i| sum(system, &believed, i, past.size) + cause.change(system, i, past.size);
            test.note(past.at, past.log_likelihood(change) - as_believed);
        }
    }
}
