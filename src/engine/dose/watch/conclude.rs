//! What is concluded of the doses of late, weighed again as long as it is fresh, and taken back when it is over.

use super::{DoseWatch, Standing, soaks_slowly};
use crate::engine::Effect;
use crate::engine::board::Board;
use crate::engine::dose::alarm::{LIMIT, Relief, Test};
use crate::engine::dose::cause::Cause;
use crate::engine::dose::diagnose::{Weighed, explain, sum};
use crate::engine::dose::recent::Past;
use crate::engine::dose::told;
use crate::model::{EventTime, System};

/// An explanation is told from this probability on.
const TOLD_FROM: f64 = 0.6;
/// Another explanation takes over from this probability on, and only while the episodes since are remembered.
const TAKES_OVER_FROM: f64 = 0.7;

/// Whether a floor that holds water up explains best what is seen, with this probability or more: that is told by how the
/// basin soaks.
fn lingers(explanations: &Weighed, least: f64) -> bool {
    let first = explanations.ranked.first();
    first.is_some_and(|first| matches!(first.cause, Cause::Lingers { .. }) && first.probability >= least)
}

impl DoseWatch {
    /// Clears what is over.
    pub(super) fn relieve(
        &mut self,
        system: &System,
        past: &Past,
        now: EventTime,
        board: &mut Board,
        out: &mut Vec<Effect>,
    ) {
        let believed = self.believed();
        let as_believed = past.log_likelihood(|i| sum(system, &believed, i, past.size));
        let mut over = Vec::new();
        for (k, standing) in self.standing.iter_mut().enumerate() {
            let without = |i| sum(system, &believed, i, past.size) - believed[k].change(system, i, past.size);
            standing.relief.note(past.at, past.log_likelihood(without) - as_believed);
            if standing.relief.is_over() {
                over.push(k);
            }
        }
        for k in over.into_iter().rev() {
            let standing = self.standing.remove(k);
            let (kind, spot) = told::place(system, standing.cause);
            board.clear(now, kind, spot, out);
            self.reset();
        }
    }

    /// Weighs the newest conclusion again. While it is fresh it may give way, for the first episodes may have misled;
    /// later only its size and its probability follow what is remembered.
    pub(super) fn reconsider(
        &mut self,
        system: &System,
        now: EventTime,
        board: &mut Board,
        out: &mut Vec<Effect>,
    ) {
        let Some(newest) = self.standing.last().copied() else { return };
        let is_fresh = self.recent.reaches(newest.since);
        let others: Vec<Cause> = self.standing.iter().rev().skip(1).map(|s| s.cause).collect();
        let explanations = explain(system, &self.recent, newest.since, &others);
        if is_fresh && (explanations.drift >= TAKES_OVER_FROM || lingers(&explanations, TAKES_OVER_FROM)) {
            let (kind, spot) = told::place(system, newest.cause);
            self.standing.pop();
            board.clear(now, kind, spot, out);
            self.reset();
            return;
        }
        let Some(first) = explanations.ranked.first() else { return };
        let same = first.cause.is_same(newest.cause);
        if !same
            && (!is_fresh
                || first.probability < TAKES_OVER_FROM
                || soaks_slowly(system, first.cause, newest.since, board))
        {
            return;
        }
        let relief = self.standing.pop().filter(|_| same).map(|standing| standing.relief);
        if !same {
            let (kind, spot) = told::place(system, newest.cause);
            board.clear(now, kind, spot, out);
            self.reset();
        }
        self.stand(system, newest.since, &explanations, relief.unwrap_or_default(), now, board, out);
    }

    /// Explains the strongest signal that can be explained. What grows is small at first, and looks like drift from there
    /// on; the tests of larger faults begin later, where it is large.
    pub(super) fn look_into(
        &mut self,
        system: &System,
        may_be: impl Fn(Cause) -> bool,
        now: EventTime,
        board: &mut Board,
        out: &mut Vec<Effect>,
    ) {
        let mut signals: Vec<(f64, EventTime)> =
            self.tests.iter().filter_map(|test| Some((test.sum(), test.signal(LIMIT)?))).collect();
        signals.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
        let mut what: Option<Cause> = None;
        for (k, &(_, since)) in signals.iter().enumerate() {
            if signals[..k].iter().any(|(_, looked_from)| *looked_from == since) {
                continue;
            }
            let explanations = explain(system, &self.recent, since, &self.believed());
            let Some(first) = explanations.ranked.first() else { continue };
            // All looks have to agree on what it is, or none says.
            if !what.get_or_insert(first.cause).is_same(first.cause)
                || lingers(&explanations, 0.0)
                || !may_be(first.cause)
            {
                continue;
            }
            let known = self.standing.iter().any(|standing| standing.cause.is_same(first.cause));
            if first.probability >= TOLD_FROM && !known && !soaks_slowly(system, first.cause, since, board) {
                self.stand(system, since, &explanations, Relief::default(), now, board, out);
                self.reset();
                return;
            }
        }
    }

    #[expect(clippy::too_many_arguments, reason = "a conclusion, and where its effects go")]
    fn stand(
        &mut self,
        system: &System,
        since: EventTime,
        explanations: &Weighed,
        relief: Relief,
        now: EventTime,
        board: &mut Board,
        out: &mut Vec<Effect>,
    ) {
        let cause = explanations.ranked[0].cause;
        self.standing.push(Standing { since, cause, relief });
        let warned = |kind, spot| board.warns(kind, spot);
        let conclusion = told::conclusion(system, &self.gains, &self.recent, since, explanations, warned);
        board.conclude(system, now, conclusion, out);
    }

    /// What is believed has changed: what was gathered against it counts no longer.
    pub(super) fn reset(&mut self) {
        self.tracks.restart();
        self.tests.fill(Test::default());
        self.rises.restart();
    }
}
