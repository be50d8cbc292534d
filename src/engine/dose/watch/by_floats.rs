//! What is concluded where only floats tell of water: outlets that pass nothing, and floats that are jammed.

use super::{DoseView, DoseWatch, Standing};
use crate::engine::Effect;
use crate::engine::board::{Board, Spot};
use crate::engine::dose::alarm::Relief;
use crate::engine::dose::cause::Cause;
use crate::engine::dose::episode::{Episode, Response};
use crate::engine::dose::measure::Shown;
use crate::engine::dose::rises::{Answers, Missing, blocked, jammed};
use crate::engine::dose::told;
use crate::model::{BasinIx, EventTime, FindingKind};

impl DoseWatch {
    /// Takes which floats rose in an episode.
    pub(super) fn take_by_floats(
        &mut self,
        view: &DoseView<'_>,
        episode: &Episode,
        now: EventTime,
        board: &mut Board,
        out: &mut Vec<Effect>,
    ) {
        self.freed(view, board);
        // A float that is up already cannot rise.
        let rose = |(shown, response): (&Shown, &Response)| {
            (matches!(shown, Shown::Float { .. }) && !response.stood_before).then(|| response.float_rose())
        };
        let rose: Vec<Option<bool>> = view.shown.iter().zip(&episode.responses).map(rose).collect();
        let soaks_slowly = |basin| board.stands(FindingKind::SlowSoak, Spot::Basin(basin));
        let slow: Vec<bool> = view.system.basin_ixs().map(soaks_slowly).collect();
        let answers = Answers { rose: &rose, slow: &slow };
        let says = self.rises.note(view.system, episode.began, answers, episode.burst(), &self.believed());
        let mut over = Vec::new();
        for (k, standing) in self.standing.iter_mut().enumerate() {
            let Cause::Blocked { basin, .. } = standing.cause else { continue };
            standing.relief.note(episode.began, -says[basin.0 as usize].blocked);
            if standing.relief.is_over() {
                over.push((k, basin));
            }
        }
        for (k, basin) in over.into_iter().rev() {
            self.standing.remove(k);
            board.clear(now, FindingKind::BlockedOutlet, Spot::Basin(basin), out);
            self.reset();
        }
        let stands = |basin| self.standing.iter().any(|known| concerns(known.cause, basin));
        if let Some(Missing { basin, since, jammed: p, .. }) =
            self.rises.down(view.system, |basin| !stands(basin))
        {
            let cause = if p < 0.5 { blocked(basin) } else { jammed(basin) };
            self.standing.push(Standing { since, cause, relief: Relief::default() });
        }
        for standing in &self.standing {
            // A rise or two leave what was told as it was, until it is over.
            let Some(missing) = self.rises.down(view.system, |basin| concerns(standing.cause, basin)) else {
                continue;
            };
            let (kind, _) = told::place(view.system, standing.cause);
            let conclusion = told::by_floats(view.system, missing, kind, standing.since);
            board.conclude(view.system, now, conclusion, out);
        }
    }

    /// Floats that were jammed and have risen since are not.
    fn freed(&mut self, view: &DoseView<'_>, board: &Board) {
        let before = self.standing.len();
        self.standing.retain(|standing| {
            let (kind, spot) = told::place(view.system, standing.cause);
            kind != FindingKind::SensorStuck || board.stands(kind, spot)
        });
        if self.standing.len() < before {
            self.reset();
        }
    }
}

fn concerns(cause: Cause, of: BasinIx) -> bool {
    match cause {
        Cause::Blocked { basin, .. } | Cause::Sensor { basin, .. } => basin == of,
        Cause::Tilted { .. } | Cause::Lingers { .. } => false,
    }
}
