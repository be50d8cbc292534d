//! How well the first flood of a silting basin was foreseen, half-way to it.

use super::said::ForecastSaid;
use super::stays::{flood_hold_ms, stays};
use crate::fault::FaultKind;
use crate::run::Truth;
use crate::scenario::Scenario;
use crate::span::Span;
use crate::standing::Level;

/// Water that must have stood at a float half-way for the floor's slowing to show.
const SHOWS_MS: i64 = Span::hours(2).ms();

/// A basin that silts up, and when it first truly floods.
#[derive(Debug, Clone, PartialEq)]
pub struct Forecasting {
    /// The basin.
    pub basin: String,
    /// When it begins to silt up (Unix ms).
    pub onset_ms: i64,
    /// When it first floods (Unix ms).
    pub flood_ms: i64,
    /// Whether so much water stood at its float from the onset until half-way that its slowing could be seen there.
    pub shows_by_half: bool,
}

impl Forecasting {
    /// What there is to foresee in a scenario, if its silting basin floods before the end.
    pub fn of(scenario: &Scenario, truth: &Truth) -> Option<Self> {
        let (basin, onset_ms) =
            scenario.faults.iter().zip(&truth.faults).find_map(|(fault, span)| match &fault.kind {
                FaultKind::MulchClogging { basin, .. } => Some((basin.clone(), span.start_ms)),
                FaultKind::Tilt { .. }
                | FaultKind::Blockage { .. }
                | FaultKind::ColdWetSoil { .. }
                | FaultKind::Overload { .. }
                | FaultKind::DiverterTurned
                | FaultKind::SourceLost { .. }
                | FaultKind::Leak { .. } => None,
            })?;
        let index = scenario.site.basin_index(&basin)?;
        let hold_ms = flood_hold_ms(&scenario.site, index);
        let floods = [(Level::Float, hold_ms), (Level::Rim, 0)].into_iter().flat_map(|(level, hold_ms)| {
            let stays = stays(truth, index, level).into_iter();
            stays.filter_map(move |(from_ms, until_ms)| {
                let moment_ms = from_ms + hold_ms;
                (moment_ms > onset_ms && moment_ms <= until_ms).then_some(moment_ms)
            })
        });
        floods.min().map(|flood_ms| {
            let half_way_ms = i64::midpoint(onset_ms, flood_ms);
            let stood_ms = stays(truth, index, Level::Float)
                .into_iter()
                .map(|(from_ms, until_ms)| (until_ms.min(half_way_ms) - from_ms.max(onset_ms)).max(0));
            let shows_by_half = stood_ms.sum::<i64>() >= SHOWS_MS;
            Self { basin, onset_ms, flood_ms, shows_by_half }
        })
    }

    /// The moment at which to ask (Unix ms): half-way between onset and flood.
    pub fn half_way_ms(&self) -> i64 {
        i64::midpoint(self.onset_ms, self.flood_ms)
    }

    /// Error of a forecast made half-way, as a part of the time then left, and whether its interval held the flood.
    pub fn mark(&self, said: &[ForecastSaid]) -> Option<(f64, Option<bool>)> {
        let said = said.iter().find(|forecast| forecast.basin == self.basin)?;
        let left = (self.flood_ms - self.half_way_ms()) as f64;
        let error = (said.due?.as_millisecond() - self.flood_ms).abs() as f64 / left;
        let held = said.earliest.zip(said.latest).map(|(earliest, latest)| {
            (earliest.as_millisecond()..=latest.as_millisecond()).contains(&self.flood_ms)
        });
        Some((error, held))
    }
}
