//! How often things are looked at where nothing is wrong.

use crate::model::Span;

/// Who decides when regular work is due.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Intervals {
    /// The data: what demonstrably works can wait, up to twice the interval; what weakens comes sooner.
    ByData,
    /// The interval alone, where local rules demand it.
    Fixed,
}

/// How often things are looked at.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Rules {
    /// Every outlet.
    pub inspect_outlets_every: Span,
    /// The diverter is turned.
    pub exercise_diverter_every: Span,
    /// What no sensor sees.
    pub look_every: Span,
    /// Mulch that no forecast is made for.
    pub renew_mulch_every: Span,
    /// Who decides.
    pub intervals: Intervals,
}

/// Once a year for everything: common practice, no published source.
impl Default for Rules {
    fn default() -> Self {
        const YEAR: Span = Span::from_days(365);
        Self {
            inspect_outlets_every: YEAR,
            exercise_diverter_every: YEAR,
            look_every: YEAR,
            renew_mulch_every: YEAR,
            intervals: Intervals::ByData,
        }
    }
}
