//! Pictures of a scenario: what the sensors saw, what truly happened, and what was found.

mod axis;
mod input;
mod page;
mod panels;
mod svg;

pub use input::{BasinTrace, DoseBar, FaultBand, FindingSpan, PlotInput, Severity};
pub use page::plot;
