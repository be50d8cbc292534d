//! How a splitter divides the water.

/// What a splitter's spirit level would say, told from the water that arrived.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Level {
    /// Part of the water that goes to side a.
    pub share_a: f64,
    /// The interval that holds the truth four times out of five, where it is known.
    pub interval: Option<(f64, f64)>,
    /// What the design gives to side a.
    pub design_a: f64,
    /// What it rests on.
    pub basis: LevelBasis,
}

/// What the split of a splitter is told by.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LevelBasis {
    /// A finding stands that measures it: what fits best to the doses since it changed, as the alert tells it too.
    Finding,
    /// The middle of so many doses of the last 30 days.
    Doses(usize),
}

impl Level {
    /// How far a split may be off before somebody should come: what the engine calls a warning.
    pub const LIMIT: f64 = 0.08;

    /// It is surely off by more than can wait.
    pub fn is_off(&self) -> bool {
        let (low, high) = self.interval.unwrap_or((self.share_a, self.share_a));
        low > self.design_a + Self::LIMIT || high < self.design_a - Self::LIMIT
    }
}
