//! How each splitter divides the water, and what each basin receives, from the doses of some time.
//!
//! The middle of the doses' log ratios, with an interval from their spread: robust against single odd doses,
//! and symmetric where shares are not (see Aitchison 1986 on log ratios).

use super::timeline::share_of;
use crate::desk::sheet::Level;
use crate::ledger::DoseRecord;
use crate::model::{BasinIx, EventTime, SplitterIx, System};
use crate::stats::interval::Interval;
use crate::stats::robust;

/// Doses that an interval needs at the least.
const ENOUGH: usize = 5;
/// Part of the truth that an interval holds.
const COVERAGE: f64 = 0.8;
/// Standard error of a median over that of a mean, for normal residuals: √(π/2).
const MEDIAN_COST: f64 = 1.2533;
/// A median absolute deviation times this is a standard deviation, for normal residuals.
const MAD_TO_SD: f64 = 1.4826;
/// The smallest part of a dose that is told apart from nothing.
const LEAST_PART: f64 = 0.005;

/// The part of one dose that went to side a of a splitter; none where a side is unknown, or where rain was in it.
pub(super) fn part_to_a(system: &System, splitter: SplitterIx, dose: &DoseRecord) -> Option<f64> {
    if dose.quality <= 0.0 {
        return None;
    }
    let design_a = system.splitter(splitter).split[0];
    let sides = [design_a, 1.0 - design_a].into_iter().enumerate().map(|(side, design)| {
        let on_side = system.basin_ixs().filter(|ix| system.tree().side_of(splitter, *ix) == Some(side));
        let (got, due) = on_side.fold((0.0, 0.0), |(got, due), ix| {
            let told = dose.shares.get(&system.basin(ix).id);
            told.map_or((got, due), |share| (got + share, due + system.tree().design_share(ix)))
        });
        (due > 0.0).then(|| got / due * design)
    });
    let sides: Vec<f64> = sides.collect::<Option<_>>()?;
    let total = sides[0] + sides[1];
    (total > 0.0).then(|| (sides[0] / total).clamp(LEAST_PART, 1.0 - LEAST_PART))
}

/// How a splitter divided the doses that began at or after `since`.
pub(super) fn level(
    system: &System,
    splitter: SplitterIx,
    doses: &[DoseRecord],
    since: EventTime,
) -> Option<Level> {
    let parts =
        doses.iter().filter(|dose| dose.at >= since).filter_map(|dose| part_to_a(system, splitter, dose));
    let mut ratios: Vec<f64> = parts.map(|a| (a / (1.0 - a)).ln()).collect();
    if ratios.len() < ENOUGH {
        return None;
    }
    let middle = robust::median(&mut ratios);
    let mut off: Vec<f64> = ratios.iter().map(|ratio| (ratio - middle).abs()).collect();
    let error = MEDIAN_COST * MAD_TO_SD * robust::median(&mut off) / (ratios.len() as f64).sqrt();
    let share = |ratio: f64| 1.0 / (1.0 + (-ratio).exp());
    let interval = Interval::of_normal(middle, error * error, COVERAGE).map(share);
    Some(Level {
        share_a: share(middle),
        low: interval.low,
        high: interval.high,
        design_a: system.splitter(splitter).split[0],
        doses: ratios.len(),
    })
}

/// The part of the doses' water that a basin received, each dose counting alike.
pub(super) fn received(system: &System, basin: BasinIx, doses: &[DoseRecord]) -> Option<f64> {
    let id = &system.basin(basin).id;
    let shares: Vec<f64> = doses
        .iter()
        .filter(|dose| dose.quality > 0.0)
        .filter_map(|dose| share_of(system, dose, id))
        .collect();
    (shares.len() >= ENOUGH).then(|| shares.iter().sum::<f64>() / shares.len() as f64)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::desk::samples;

    fn doses(system: &System, quince: f64, fig: f64) -> Vec<DoseRecord> {
        let ids: Vec<_> = system.basins.iter().map(|basin| basin.id.clone()).collect();
        (0..20)
            .map(|i| {
                let noise = f64::from(i % 5 - 2) * 0.01;
                let shares = [quince + noise, fig - noise, 0.25, 0.25];
                DoseRecord {
                    at: EventTime::from_secs(i64::from(i) * 3600),
                    litres: None,
                    shares: ids.iter().cloned().zip(shares).collect(),
                    quality: 1.0,
                }
            })
            .collect()
    }

    #[test]
    fn an_uneven_splitter_moves_its_own_level_and_no_other() {
        let system = samples::terrace();
        let doses = doses(&system, 0.35, 0.15);
        let of = |splitter| level(&system, SplitterIx(splitter), &doses, EventTime::MIN).unwrap();
        assert!((of(1).share_a - 0.70).abs() < 0.01 && of(1).is_off(), "{:?}", of(1));
        assert!((of(0).share_a - 0.50).abs() < 0.01 && !of(0).is_off());
        assert!((of(2).share_a - 0.50).abs() < 0.01);
        assert!(of(1).low < 0.70 && of(1).high > 0.70);
        assert!((received(&system, BasinIx(0), &doses).unwrap() - 0.35).abs() < 0.01);
    }

    #[test]
    fn too_few_doses_tell_nothing() {
        let system = samples::terrace();
        let few = &doses(&system, 0.25, 0.25)[..4];
        assert_eq!(level(&system, SplitterIx(0), few, EventTime::MIN), None);
    }
}
