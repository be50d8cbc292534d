//! Spells of standing water, for the truth that is written beside the traffic.

use serde::Serialize;

use crate::wiring::{Quantity, Wiring};

/// A basin without a float counts as standing above this level (mm).
const WITHOUT_FLOAT_MM: f64 = 20.0;
/// Spells shorter than this are the usual course of a dose (ms).
const WORTH_TELLING_MS: i64 = 30 * 60_000;
/// Over the edge, any longer than this counts (ms).
const FLOOD_WORTH_TELLING_MS: i64 = 2 * 60_000;

/// How high the water stood.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Level {
    /// Above the float, or above 20 mm without one.
    Float,
    /// Above the overflow float, or at the rim without one.
    Rim,
}

/// One spell of water above a level.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spell {
    /// Which level.
    pub level: Level,
    /// When it rose above (Unix ms).
    pub from_ms: i64,
    /// When it fell below (Unix ms), or the end of the scenario.
    pub until_ms: i64,
    /// Highest water (mm above the floor).
    pub peak_mm: f64,
}

/// The watch over one basin.
#[derive(Debug, Clone)]
pub struct Standing {
    marks: [Mark; 2],
    ended: Vec<Spell>,
}

#[derive(Debug, Clone)]
struct Mark {
    level: Level,
    height_mm: f64,
    open: Option<Spell>,
}

impl Standing {
    /// A watch for every basin of a system.
    pub fn of_basins(wiring: &Wiring) -> Vec<Self> {
        let height = |basin: usize, quantity: Quantity| {
            wiring
                .sensors
                .iter()
                .find(|sensor| sensor.basin == Some(basin) && sensor.quantity == quantity)
                .map(|sensor| sensor.height_mm)
        };
        let watch = |basin: usize| {
            let float_mm = height(basin, Quantity::Float).unwrap_or(WITHOUT_FLOAT_MM);
            let rim_mm = height(basin, Quantity::Overflow).unwrap_or(wiring.rim_mm[basin]);
            let mark = |level, height_mm| Mark { level, height_mm, open: None };
            // Water that runs over the rim stands at it, not above.
            Self { marks: [mark(Level::Float, float_mm), mark(Level::Rim, rim_mm - 1.0)], ended: Vec::new() }
        };
        (0..wiring.basins.len()).map(watch).collect()
    }

    /// Notes the water level now.
    pub fn see(&mut self, standing_mm: f64, at_ms: i64) {
        for mark in &mut self.marks {
            if standing_mm > mark.height_mm {
                let spell = mark.open.get_or_insert(Spell {
                    level: mark.level,
                    from_ms: at_ms,
                    until_ms: at_ms,
                    peak_mm: standing_mm,
                });
                spell.until_ms = at_ms;
                spell.peak_mm = spell.peak_mm.max(standing_mm);
            } else if let Some(spell) = mark.open.take() {
                self.ended.extend(worth_telling(Spell { until_ms: at_ms, ..spell }));
            }
        }
    }

    /// Ends what is open.
    pub fn close(&mut self, at_ms: i64) {
        for mark in &mut self.marks {
            if let Some(spell) = mark.open.take() {
                self.ended.extend(worth_telling(Spell { until_ms: at_ms, ..spell }));
            }
        }
    }

    /// Takes the spells that have ended.
    pub fn take(&mut self) -> Vec<Spell> {
        std::mem::take(&mut self.ended)
    }
}

fn worth_telling(spell: Spell) -> Option<Spell> {
    let least_ms = match spell.level {
        Level::Float => WORTH_TELLING_MS,
        Level::Rim => FLOOD_WORTH_TELLING_MS,
    };
    (spell.until_ms - spell.from_ms >= least_ms).then_some(spell)
}
