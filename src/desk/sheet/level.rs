//! How a splitter divides the water.

/// What a splitter's spirit level would say, told from the water that arrived.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Level {
    /// Part of the water that goes to side a.
    pub share_a: f64,
    /// Lower end of the interval that holds the truth four times out of five.
    pub low: f64,
    /// Its upper end.
    pub high: f64,
    /// What the design gives to side a.
    pub design_a: f64,
    /// How many doses that rests on.
    pub doses: usize,
}

impl Level {
    /// How far a split may be off before somebody should come: what the engine calls a warning.
    pub const LIMIT: f64 = 0.08;

    /// It is surely off by more than can wait.
    pub fn is_off(&self) -> bool {
        self.low > self.design_a + Self::LIMIT || self.high < self.design_a - Self::LIMIT
    }
}
