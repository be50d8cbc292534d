//! What people did to a system, or what turned out to be wrong with a sensor: conclusions that end with it.

use super::{DoseWatch, Standing};
use crate::engine::Effect;
use crate::engine::board::{Board, Spot};
use crate::engine::dose::cause::Cause;
use crate::engine::dose::diagnose::sum;
use crate::engine::dose::habit::Habit;
use crate::engine::dose::told;
use crate::model::{BasinIx, EventTime, SplitterIx, System};

impl DoseWatch {
    /// Somebody caught water below outlets: what each one passes is known.
    pub(crate) fn caught(&mut self, system: &System, litres: &[(BasinIx, f64)]) {
        let believed = self.believed();
        let (gains, tracks) = (&mut self.gains, &self.tracks);
        gains.caught(system, litres, |i| sum(system, &believed, i, 1.0) + tracks.mean(i));
    }

    /// Somebody set a splitter level: its change is over.
    pub(crate) fn levelled(
        &mut self,
        system: &System,
        splitter: SplitterIx,
        at: EventTime,
        board: &mut Board,
        out: &mut Vec<Effect>,
    ) {
        let is_below = |basin: &BasinIx| system.tree().side_of(splitter, *basin).is_some();
        let below = || system.basin_ixs().filter(is_below);
        below().for_each(|basin| self.habits.basins[basin.0 as usize].straighten());
        self.gains.forget(below());
        self.withdraw(system, at, board, out, |it| {
            told::place(system, it.cause).1 == Spot::Splitter(splitter)
        });
    }

    /// Somebody freed the outlet above `basin`.
    pub(crate) fn outlet_cleared(
        &mut self,
        system: &System,
        basin: BasinIx,
        at: EventTime,
        board: &mut Board,
        out: &mut Vec<Effect>,
    ) {
        if let Some(parent) = system.tree().parent(basin) {
            let near = |other: &BasinIx| system.tree().side_of(parent.splitter, *other).is_some();
            system.basin_ixs().filter(near).for_each(|near| self.habits.basins[near.0 as usize].straighten());
        }
        self.withdraw(system, at, board, out, |it| told::place(system, it.cause).1 == Spot::Basin(basin));
    }

    /// Clears the conclusions of which `is_void` holds.
    fn withdraw(
        &mut self,
        system: &System,
        at: EventTime,
        board: &mut Board,
        out: &mut Vec<Effect>,
        is_void: impl Fn(&Standing) -> bool,
    ) {
        self.standing.retain(|standing| {
            let void = is_void(standing);
            if void {
                let (kind, spot) = told::place(system, standing.cause);
                board.clear(at, kind, spot, out);
            }
            !void
        });
        self.reset();
    }

    /// The probe in `basin` has been frozen since `since`: what it showed from then on says nothing.
    pub(crate) fn distrust(
        &mut self,
        system: &System,
        basin: BasinIx,
        since: EventTime,
        now: EventTime,
        board: &mut Board,
        out: &mut Vec<Effect>,
    ) {
        self.recent.forget(basin.0 as usize, since);
        let rests_on_it = |standing: &Standing| match standing.cause {
            Cause::Blocked { basin: b, .. } | Cause::Sensor { basin: b, .. } => {
                b == basin && standing.since >= since
            }
            Cause::Tilted { .. } | Cause::Lingers { .. } => false,
        };
        if self.standing.iter().any(rests_on_it) {
            self.withdraw(system, now, board, out, rests_on_it);
        }
    }

    /// A basin has another floor: from how much water on its float rises has to be learnt.
    pub(crate) fn floor_renewed(&mut self, basin: BasinIx) {
        self.rises.forget(basin);
    }

    /// A basin has another probe, whose habit has to be learnt.
    pub(crate) fn probe_replaced(&mut self, basin: BasinIx) {
        self.habits.basins[basin.0 as usize] = Habit::default();
        self.standing
            .retain(|standing| !matches!(standing.cause, Cause::Sensor { basin: b, .. } if b == basin));
        self.reset();
    }
}
