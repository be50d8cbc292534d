//! A look at an episode that goes on: that an outlet passes nothing shows before all showers of a morning are over.

use super::{DoseView, DoseWatch, water_is_unexpected};
use crate::engine::Effect;
use crate::engine::board::Board;
use crate::engine::dose::cause::Cause;
use crate::engine::dose::measure::{Part, PartState};
use crate::engine::dose::rises::blocked;
use crate::model::{BasinIx, EventTime};

/// A probe that is only later than others has shown more of its usual than this by then (logarithm; by the tuning seeds).
const NOTHING: f64 = -2.0;
/// An outlet that passes more than this may only pass its water later.
const PASSES_NOTHING: f64 = 0.1;

fn is_missed(part: &Part) -> bool {
    part.state != PartState::Unknown && f64::from(part.miss) <= NOTHING
}

impl DoseWatch {
    /// Whether the episode under way goes on at `now`.
    pub(crate) fn goes_on(&self, now: EventTime) -> bool {
        self.gathering.due().is_some_and(|due| due > now)
    }

    /// The episode under way is looked at without anything to see yet.
    pub(crate) fn nothing_to_see(&mut self, now: EventTime) {
        self.gathering.glance(now);
    }

    /// Looks at what the episode under way has brought by `now`. It is remembered once the episode is over; but if it
    /// tells that an outlet passes nothing, that is told already.
    pub(crate) fn glance(
        &mut self,
        view: &DoseView<'_>,
        now: EventTime,
        board: &mut Board,
        out: &mut Vec<Effect>,
    ) {
        let Some(episode) = self.gathering.glance(now).cloned() else { return };
        let is_told = self.recent.has(episode.began);
        let is_unmetered = self.has_meter(view.system) && episode.metered <= 0.0;
        let is_dose = view.to_landscape && !water_is_unexpected(board) && !episode.rain;
        if is_told || is_unmetered || !is_dose || view.system.has_floats_alone() {
            return;
        }
        let measured = self.measured(view, &episode, board).filter(|measured| !measured.rain);
        let Some(known) = measured.map(|measured| self.known_of(measured)) else { return };
        let is_known = |i| self.standing.iter().any(|it| it.cause.is_same(blocked(BasinIx(i as u16))));
        if !known.parts.iter().enumerate().any(|(i, part)| is_missed(part) && !is_known(i)) {
            return;
        }
        let (tests, recent, stood) = (self.tests.clone(), self.recent.clone(), self.standing.len());
        let past = self.recent.note(episode.began, &known).clone();
        self.test(view.system, &past);
        let passes_nothing = |cause| match cause {
            Cause::Blocked { basin, passes } => {
                passes < PASSES_NOTHING && is_missed(&known.parts[basin.0 as usize])
            }
            Cause::Tilted { .. } | Cause::Sensor { .. } | Cause::Lingers { .. } => false,
        };
        self.look_into(view.system, passes_nothing, now, board, out);
        self.recent = recent;
        if self.standing.len() == stood {
            self.tests = tests;
        }
    }
}
