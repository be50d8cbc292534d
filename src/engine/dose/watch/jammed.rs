//! Floats that stay down above probes which tell that as much water came as ever.

use super::{DoseView, DoseWatch};
use crate::engine::Effect;
use crate::engine::board::Board;
use crate::engine::dose::cause::Cause;
use crate::engine::dose::episode::Episode;
use crate::engine::dose::measure::{Measured, Part, PartState};
use crate::engine::dose::rises::Answers;
use crate::engine::dose::told;
use crate::model::{BasinIx, EventTime, FindingKind, Place, Quantity};

/// Less than this of its usual water (logarithm) excuses a float that stays down.
const AS_EVER: f64 = -0.2;

impl DoseWatch {
    /// Takes which floats rose in an episode that probes measured: a float that stays down though as much came as ever is
    /// jammed.
    pub(super) fn take_jammed(
        &mut self,
        view: &DoseView<'_>,
        episode: &Episode,
        measured: &Measured,
        (now, board): (EventTime, &mut Board),
        out: &mut Vec<Effect>,
    ) {
        // Where water goes other ways, other floats rise than used to.
        if self.standing.iter().any(|standing| !matches!(standing.cause, Cause::Sensor { .. })) {
            self.rises.restart();
            return;
        }
        let rose = |(i, part): (usize, &Part)| {
            let float = view.system.find_sensor(Place::Basin(BasinIx(i as u16)), Quantity::Float)?;
            let response = &episode.responses[i];
            let is_measured = part.state == PartState::Measured || part.state == PartState::Above;
            let came = is_measured && part.log_share(measured.common) > AS_EVER;
            (!board.distrusts(float) && came && !response.stood_before).then(|| response.float_rose())
        };
        let rose: Vec<Option<bool>> = measured.parts.iter().enumerate().map(rose).collect();
        // Probes have said already that as much came: that others rise oftener says nothing against it.
        let slow = vec![false; rose.len()];
        self.rises.note(view.system, episode.began, Answers { rose: &rose, slow: &slow }, None, &[]);
        for missing in self.rises.jammed(view.system) {
            let conclusion = told::by_floats(view.system, missing, FindingKind::SensorStuck, missing.since);
            board.conclude(view.system, now, conclusion, out);
        }
    }
}
