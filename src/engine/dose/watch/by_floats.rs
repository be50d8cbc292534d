//! What is concluded where only floats tell of water: outlets that pass nothing.

use super::{DoseView, DoseWatch, Standing};
use crate::engine::Effect;
use crate::engine::board::{Board, Spot};
use crate::engine::dose::alarm::Relief;
use crate::engine::dose::cause::Cause;
use crate::engine::dose::episode::{Episode, Response};
use crate::engine::dose::measure::Shown;
use crate::engine::dose::told;
use crate::model::{BasinIx, EventTime, FindingKind};

/// What a blocked outlet passes, as far as floats can tell.
const PASSES: f64 = 0.02;

/// The cause that an outlet passes nothing.
pub(super) fn blocked(basin: BasinIx) -> Cause {
    Cause::Blocked { basin, passes: PASSES }
}

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
        // A float that is up already cannot rise.
        let rose = |(shown, response): (&Shown, &Response)| {
            (matches!(shown, Shown::Float { .. }) && !response.stood_before).then(|| response.float_rose())
        };
        let rose: Vec<Option<bool>> = view.shown.iter().zip(&episode.responses).map(rose).collect();
        let ratios = self.rises.note(view.system, episode.began, &rose);
        let mut over = Vec::new();
        for (k, standing) in self.standing.iter_mut().enumerate() {
            let Cause::Blocked { basin, .. } = standing.cause else { continue };
            standing.relief.note(episode.began, -ratios[basin.0 as usize]);
            if standing.relief.is_over() {
                over.push((k, basin));
            }
        }
        for (k, basin) in over.into_iter().rev() {
            self.standing.remove(k);
            board.clear(now, FindingKind::BlockedOutlet, Spot::Basin(basin), out);
            self.reset();
        }
        let stands = |basin| self.standing.iter().any(|known| known.cause.is_same(blocked(basin)));
        if let Some(basin) = self.rises.blocked(|basin| !stands(basin)) {
            let since = self.rises.missing(basin).since;
            self.standing.push(Standing { since, cause: blocked(basin), relief: Relief::default() });
        }
        for standing in &self.standing {
            let Cause::Blocked { basin, .. } = standing.cause else { continue };
            // A rise or two leave what was told as it was, until it is over.
            if self.rises.blocked(|it| it == basin).is_none() {
                continue;
            }
            let conclusion = told::blocked_by_floats(view.system, self.rises.missing(basin), standing.since);
            board.conclude(view.system, now, conclusion, out);
        }
    }
}
