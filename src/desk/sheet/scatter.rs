//! Single observations over time.

use super::{Stretch, Tick};

/// Points over an axis of time; across as in a timeline, up from 0 at the foot to 1 at the top.
#[derive(Clone, Debug, PartialEq)]
pub struct Scatter {
    /// From when to when.
    pub stretch: Stretch,
    /// The same in words.
    pub words: String,
    /// Marks along the axis.
    pub ticks: Vec<Tick>,
    /// Place, height, and what it stands for.
    pub points: Vec<(f64, f64, String)>,
    /// Lines across: height, words, and whether it is a limit.
    pub guides: Vec<(f64, String, bool)>,
    /// A line through the points: height at the left and at the right.
    pub trend: Option<(f64, f64)>,
    /// What happened meanwhile, oldest first.
    pub marks: Vec<Mark>,
}

/// Something that happened, at its place across.
#[derive(Clone, Debug, PartialEq)]
pub struct Mark {
    /// Place.
    pub at: f64,
    /// What kind of thing.
    pub kind: MarkKind,
    /// What, and when.
    pub words: String,
    /// The page that tells more.
    pub page: Option<String>,
}

/// What kind of thing a mark stands for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum MarkKind {
    /// Something went wrong.
    Change,
    /// Somebody did something.
    Work,
}
