//! When each basin's mulch is due.

use serde::{Deserialize, Serialize};

use super::machine::Engine;
use super::{Effect, words};
use crate::model::{BasinIx, EventTime, Span};

/// Days from one forecast to the next, unless somebody worked on the system.
const EVERY_DAYS: i64 = 7;

/// When a basin would first flood if its mulch were not renewed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Forecast {
    /// When it was made.
    pub made: EventTime,
    /// Which basin.
    pub basin: BasinIx,
    /// The best estimate.
    pub due: EventTime,
    /// With 80 % probability not before this.
    pub earliest: EventTime,
    /// And not after this.
    pub latest: EventTime,
    /// What it rests on, in a sentence.
    pub basis: String,
    /// Litres that the basin received since its mulch was placed, or since it was first heard of.
    pub litres: f64,
    /// The part of the mulch that is left, 0 to 1, by the model of its decay.
    pub mulch_left: f64,
}

impl Engine {
    /// What is due in each basin as far as anything is known, by what was heard until now.
    pub fn forecasts(&self) -> Vec<Forecast> {
        let Some(day) = self.state.day else { return Vec::new() };
        self.system.basin_ixs().filter_map(|ix| self.forecast(ix, (day.from, day.number as f64))).collect()
    }

    /// Tells what is due, at the turn of a week or of a day on which somebody worked here.
    pub(super) fn tell_forecasts(&mut self, out: &mut Vec<Effect>) {
        let Some(day) = self.state.day else { return };
        let is_due = day.number % EVERY_DAYS == 0 || std::mem::take(&mut self.state.worked_on);
        if is_due && self.foretells {
            out.extend(self.forecasts().into_iter().map(Effect::Forecast));
        }
    }

    fn forecast(&self, ix: BasinIx, now: (EventTime, f64)) -> Option<Forecast> {
        let layout = self.layout.basins[ix.0 as usize];
        let standing = self.state.soak.forecast(&self.system, ix, layout, now);
        let outlook = standing.outlook?;
        let date = |days: f64| now.0 + Span::from_hours_f64(24.0 * days);
        let basin = self.system.basin(ix);
        let mulch_left = standing.chips.left(basin.mulch.chip);
        let has_float = layout.floor.is_some();
        Some(Forecast {
            made: now.0,
            basin: ix,
            due: date(outlook.due),
            earliest: date(outlook.earliest),
            latest: date(outlook.latest),
            basis: words::basis(mulch_left, has_float, standing.is_seen, standing.is_slow),
            litres: standing.chips.litres(),
            mulch_left,
        })
    }
}
