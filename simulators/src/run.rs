//! A scenario from beginning to end: its traffic as it arrives, and the truth when it is over.

use crate::radio::Message;
use crate::scenario::{Scenario, ScenarioError};
use crate::span::Span;
use crate::standing::Spell;
use crate::truth::{FaultSpan, TrueDose, WaterBalance};

/// What truly happened.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Truth {
    /// Every dose, in order of its end.
    pub doses: Vec<TrueDose>,
    /// Every spell of standing water with its basin's index, in order of its end.
    pub spells: Vec<(usize, Spell)>,
    /// The physical faults with their times.
    pub faults: Vec<FaultSpan>,
    /// Where the water went.
    pub balance: WaterBalance,
    /// Hydraulic resistance of each basin's floor (h), every ten days with its time (Unix ms).
    pub floors: Vec<(i64, Vec<f64>)>,
}

/// Days between two looks at the floors.
const FLOOR_DAYS: u64 = 10;

/// Runs a scenario day by day. `hear` gets each message in order of arrival, `passed` the days done so far.
///
/// # Errors
/// Those of `hear`, and a scenario that cannot begin.
pub fn run<E: From<ScenarioError>>(
    scenario: &Scenario,
    seed: u64,
    hear: &mut dyn FnMut(&Message) -> Result<(), E>,
    passed: &mut dyn FnMut(u64),
) -> Result<Truth, E> {
    let mut field = scenario.begin(seed)?;
    let mut truth = Truth::default();
    let mut arrived = Vec::new();
    let mut days = 0_u64;
    let mut until_ms = scenario.start_ms;
    while until_ms < scenario.end_ms() {
        if days.is_multiple_of(FLOOR_DAYS) {
            let basins = 0..scenario.wiring.basins.len();
            let floors = basins.map(|basin| field.world().basin(basin).floor_resistance_h).collect();
            truth.floors.push((until_ms, floors));
        }
        until_ms = (until_ms + Span::days(1).ms()).min(scenario.end_ms());
        field.advance_to(until_ms, &mut arrived);
        for message in arrived.drain(..) {
            hear(&message)?;
        }
        truth.doses.append(&mut field.world_mut().take_doses());
        truth.spells.append(&mut field.take_spells());
        days += 1;
        passed(days);
    }
    field.close_spells();
    truth.spells.append(&mut field.take_spells());
    truth.faults = field.world().faults();
    truth.balance = field.world().balance();
    Ok(truth)
}
