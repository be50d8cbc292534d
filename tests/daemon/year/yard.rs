//! The simulated yard of the year, and what truly happened in it.

use basinward::model::{EventTime, Span};
use basinward::run::TendedYard;
use simulators::fault::FaultKind;
use simulators::scenario::Scenario;
use simulators::standing::{Level, Spell};

/// Its system file.
pub(super) const SYSTEM: &str = include_str!("yard.toml");
const STORY: &str = include_str!("story.toml");
const SEED: u64 = 7;
/// Water that stands longer than this is a flood, for this soil and depth.
const HOLD: Span = Span::from_hours(6);

/// The yard at the beginning of its year.
pub(super) fn begin() -> TendedYard {
    let story = Scenario::parse("year", STORY, &|_| Ok(SYSTEM.to_owned())).expect("the story is sound");
    TendedYard::begin(story, SEED).expect("it begins")
}

/// Litres that truly left the fixtures, and that truly reached each basin.
pub(super) fn water(yard: &mut TendedYard) -> (f64, Vec<f64>) {
    let doses = yard.doses();
    let basins = doses.first().map_or(0, |dose| dose.basin_litres.len());
    let into = (0..basins).map(|basin| doses.iter().map(|dose| dose.basin_litres[basin]).sum());
    (doses.iter().map(|dose| dose.litres).sum(), into.collect())
}

/// When each spell began in which water stood above a float for longer than 6 hours or at the rim, since this was last
/// asked.
pub(super) fn floods(yard: &mut TendedYard) -> Vec<EventTime> {
    let field = yard.field();
    field.close_spells();
    let long = |spell: &Spell| spell.until_ms - spell.from_ms > HOLD.millis();
    let spells = field.take_spells().into_iter().map(|(_, spell)| spell);
    let floods = spells.filter(|spell| spell.level == Level::Rim || long(spell));
    floods.map(|spell| EventTime::from_millis(spell.from_ms)).collect()
}

/// Days that a splitter stood off level until now.
pub(super) fn days_off_level(yard: &mut TendedYard) -> f64 {
    let now = yard.now();
    let faults = yard.field().world().faults();
    let tilts = faults.iter().filter(|fault| matches!(fault.kind, FaultKind::Tilt { .. }));
    let time = EventTime::from_millis;
    tilts.map(|it| (it.end_ms.map_or(now, time) - time(it.start_ms)).days_f64().max(0.0)).sum()
}
