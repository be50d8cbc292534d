//! One run of pipe as a store of water that empties through its lower end.

use super::pipe::Pipe;

/// Below this much a line has run empty (L).
const FILM_L: f64 = 0.005;

/// A run of pipe between two fittings.
///
/// Water on its way is held as in a steady flow (kinematic storage routing): what the line holds sets what leaves it,
/// by a power law fitted to Manning's formula. A line whose lower end takes less than comes in fills up to its volume,
/// then takes no more.
#[derive(Debug, Clone)]
pub struct Line {
    /// Water it holds when full (L).
    capacity_l: f64,
    /// Flow out (L/min) when it holds a litre for each metre.
    flow_at_one: f64,
    exponent: f64,
    length_m: f64,
    water_l: f64,
}

impl Line {
    /// An empty line.
    pub fn new(pipe: Pipe, length_m: f64) -> Self {
        let (low, high) = (pipe.steady(2.0), pipe.steady(32.0));
        let exponent = (high.l_min / low.l_min).ln() / (high.litres_per_m / low.litres_per_m).ln();
        Self {
            capacity_l: pipe.full().litres_per_m * length_m,
            flow_at_one: low.l_min / low.litres_per_m.powf(exponent),
            exponent,
            length_m,
            water_l: 0.0,
        }
    }

    /// Water in the line (L).
    pub fn water_l(&self) -> f64 {
        self.water_l
    }

    /// The part of the line that is filled, 0 to 1.
    pub fn filled(&self) -> f64 {
        self.water_l / self.capacity_l
    }

    /// Pours water in at the upper end; returns what does not go in because the line is full (L).
    pub fn pour(&mut self, litres: f64) -> f64 {
        let taken = litres.min((self.capacity_l - self.water_l).max(0.0));
        self.water_l += taken;
        litres - taken
    }

    /// What would leave the open lower end within `minutes` (L).
    pub fn ready_l(&self, minutes: f64) -> f64 {
        if self.water_l <= FILM_L {
            return self.water_l;
        }
        let l_min = self.flow_at_one * (self.water_l / self.length_m).powf(self.exponent);
        self.water_l * -(-l_min * minutes / self.water_l).exp_m1()
    }

    /// Takes water out at the lower end.
    pub fn take(&mut self, litres: f64) {
        self.water_l = (self.water_l - litres).max(0.0);
    }
}
