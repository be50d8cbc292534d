//! One use of a fixture, as the drain sees it.

use crate::truth::DoseKind;

/// One use of a fixture.
#[derive(Debug, Clone, PartialEq)]
pub struct Use {
    /// When the first water leaves the fixture (Unix ms).
    pub start_ms: i64,
    /// What it is.
    pub kind: DoseKind,
    /// Whose it is: 0 is the first person of the house; guests and others on top come after the household.
    pub person: u32,
    /// A draw between 0 and 1 that decides whether the use is among those lost when fixtures are lost.
    pub luck: f64,
    /// The discharges, in order.
    pub surges: Vec<Surge>,
}

/// Water leaving a fixture at an even rate.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Surge {
    /// Start after that of the use (ms).
    pub after_ms: i64,
    /// Length (ms).
    pub for_ms: i64,
    /// Rate (L/min).
    pub l_min: f64,
}

impl Use {
    /// A use of one discharge.
    pub fn single(start_ms: i64, kind: DoseKind, litres: f64, l_min: f64) -> Self {
        Self { start_ms, kind, person: 0, luck: 1.0, surges: vec![Surge::of(0, litres, l_min)] }
    }

    /// Litres in all.
    pub fn litres(&self) -> f64 {
        self.surges.iter().map(Surge::litres).sum()
    }

    /// When the last water leaves the fixture (Unix ms).
    pub fn end_ms(&self) -> i64 {
        self.start_ms + self.surges.last().map_or(0, |surge| surge.after_ms + surge.for_ms)
    }
}

impl Surge {
    /// A surge of some litres at about a rate; its length is a whole number of milliseconds.
    pub fn of(after_ms: i64, litres: f64, l_min: f64) -> Self {
        let for_ms = (litres / l_min * 60_000.0).round().max(1.0);
        Self { after_ms, for_ms: for_ms as i64, l_min: litres / for_ms * 60_000.0 }
    }

    /// Litres.
    pub fn litres(&self) -> f64 {
        self.l_min * self.for_ms as f64 / 60_000.0
    }
}
