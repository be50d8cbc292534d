//! Findings that the physical truth bears out, whether or not the scenario meant them: water that truly stood, floors
//! that truly sealed. Healthy basins age too, and rain fills them.

use super::said::FindingSaid;
use super::stays::{flood_hold_ms, stays};
use crate::run::Truth;
use crate::scenario::Scenario;
use crate::span::Span;
use crate::standing::Level;

/// A sensor is behind the world by no more than this, and water near a float's height may be judged either way.
const SLACK_MS: i64 = Span::minutes(45).ms();
/// Water that stood this long is a pond.
const POND_MS: i64 = Span::hours(1).ms();
/// A floor soaks notably slower when its resistance has grown by this factor.
const SLOWER: f64 = 1.4;

/// Whether a finding of standing water or of slow soaking is true of the basin it names.
pub(super) fn borne_out(finding: &FindingSaid, scenario: &Scenario, truth: &Truth) -> bool {
    let Some(basin) = scenario.site.basin_index(finding.subject()) else {
        return false;
    };
    let at_ms = finding.at.as_millisecond();
    match finding.finding.as_str() {
        "ponding" => stood(truth, basin, at_ms, Level::Float, POND_MS),
        "flooding" => {
            stood(truth, basin, at_ms, Level::Float, flood_hold_ms(&scenario.site, basin))
                || stood(truth, basin, at_ms, Level::Rim, 0)
        }
        "slow-soak" => sealed(truth, basin, at_ms),
        _ => false,
    }
}

fn stood(truth: &Truth, basin: usize, at_ms: i64, level: Level, at_least_ms: i64) -> bool {
    stays(truth, basin, level).into_iter().any(|(from_ms, until_ms)| {
        until_ms - from_ms + SLACK_MS >= at_least_ms
            && (from_ms - SLACK_MS..until_ms + SLACK_MS).contains(&at_ms)
    })
}

fn sealed(truth: &Truth, basin: usize, at_ms: i64) -> bool {
    let before =
        || truth.floors.iter().filter(|(seen_ms, _)| *seen_ms <= at_ms).map(|(_, floors)| floors[basin]);
    let least = before().fold(f64::INFINITY, f64::min);
    before().next_back().is_some_and(|now| now >= SLOWER * least)
}
