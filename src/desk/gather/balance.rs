//! How each splitter divides the water, and what each basin receives, from the doses of some time.
//!
//! The middle of the doses' log ratios, with an interval from their spread: robust against single odd doses,
//! and symmetric where shares are not (see Aitchison 1986 on log ratios). A dose counts by its quality, as it
//! does for the finding beside it.

use super::timeline::share_of;
use crate::desk::sheet::{Level, LevelBasis};
use crate::ledger::DoseRecord;
use crate::model::{BasinIx, EventTime, Place, Quantity, SplitterIx, System};
use crate::stats::interval::Interval;

/// Doses that an interval needs at the least.
const ENOUGH: usize = 5;
/// Part of the truth that an interval holds.
const COVERAGE: f64 = 0.8;
/// Standard error of a median over that of a mean, for normal residuals: √(π/2).
const MEDIAN_COST: f64 = 1.2533;
/// A median absolute deviation times this is a standard deviation, for normal residuals.
const MAD_TO_SD: f64 = 1.4826;
/// Sums of weights this close are the same.
const TINY: f64 = 1e-9;
/// The smallest part of a dose that is told apart from nothing.
const LEAST_PART: f64 = 0.005;

/// Whether sensors of a system measure how a dose is shared out: probes do, floats alone show that water stands. One
/// basin alone gets all of it.
pub(super) fn measures(system: &System) -> bool {
    let has_probe = |ix| system.find_sensor(Place::Basin(ix), Quantity::Moisture).is_some();
    system.basins.len() == 1 || system.basin_ixs().any(has_probe)
}

/// The part of one dose that went to side a of a splitter; none where a side is unknown, or where rain was in it.
pub(super) fn part_to_a(system: &System, splitter: SplitterIx, dose: &DoseRecord) -> Option<f64> {
    if dose.quality <= 0.0 || !measures(system) {
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
    let ratio = |dose: &DoseRecord| {
        let part = part_to_a(system, splitter, dose)?;
        Some(((part / (1.0 - part)).ln(), dose.quality))
    };
    let mut ratios: Vec<(f64, f64)> =
        doses.iter().filter(|dose| dose.at >= since).filter_map(ratio).collect();
    if ratios.len() < ENOUGH {
        return None;
    }
    let middle = weighted_median(&mut ratios);
    let mut off: Vec<(f64, f64)> =
        ratios.iter().map(|(ratio, weight)| ((ratio - middle).abs(), *weight)).collect();
    // As many equal doses as would tell as much (Kish 1965, effective sample size).
    let (sum, squares) = ratios.iter().fold((0.0, 0.0), |(sum, squares), (_, w)| (sum + w, squares + w * w));
    let error = MEDIAN_COST * MAD_TO_SD * weighted_median(&mut off) / (sum * sum / squares).sqrt();
    let share = |ratio: f64| 1.0 / (1.0 + (-ratio).exp());
    let interval = Interval::of_normal(middle, error * error, COVERAGE).map(share);
    Some(Level {
        share_a: share(middle),
        interval: Some((interval.low, interval.high)),
        design_a: system.splitter(splitter).split[0],
        basis: LevelBasis::Doses(ratios.len()),
    })
}

/// The value with half of the weight on either side; between two where that is exact. Weights are above zero.
fn weighted_median(values: &mut [(f64, f64)]) -> f64 {
    values.sort_by(|a, b| a.0.total_cmp(&b.0));
    let half = values.iter().map(|(_, weight)| weight).sum::<f64>() / 2.0;
    let mut below = 0.0;
    for (at, (value, weight)) in values.iter().enumerate() {
        below += weight;
        if below > half * (1.0 + TINY) {
            return *value;
        }
        if below >= half * (1.0 - TINY) {
            let next = values.get(at + 1).map_or(*value, |(next, _)| *next);
            return f64::midpoint(*value, next);
        }
    }
    values.last().map_or(f64::NAN, |(value, _)| *value)
}

/// The part of the doses' water that a basin received, each dose counting alike, and how many doses that is of.
pub(super) fn received(system: &System, basin: BasinIx, doses: &[DoseRecord]) -> Option<(f64, usize)> {
    if !measures(system) {
        return None;
    }
    let id = &system.basin(basin).id;
    let shares: Vec<f64> = doses
        .iter()
        .filter(|dose| dose.quality > 0.0)
        .filter_map(|dose| share_of(system, dose, id))
        .collect();
    (shares.len() >= ENOUGH).then(|| (shares.iter().sum::<f64>() / shares.len() as f64, shares.len()))
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
        let (low, high) = of(1).interval.unwrap();
        assert!(low < 0.70 && high > 0.70);
        assert!((received(&system, BasinIx(0), &doses).unwrap().0 - 0.35).abs() < 0.01);
    }

    #[test]
    fn a_dose_counts_by_its_quality() {
        let system = samples::terrace();
        let mut all = doses(&system, 0.35, 0.15);
        let mut poor = doses(&system, 0.25, 0.25);
        for dose in &mut poor {
            dose.quality = 0.2;
        }
        all.append(&mut poor);
        assert!((level(&system, SplitterIx(1), &all, EventTime::MIN).unwrap().share_a - 0.70).abs() < 0.03);
        let even = weighted_median(&mut [(3.0, 1.0), (1.0, 1.0), (2.0, 1.0), (4.0, 1.0)]);
        let heavy = weighted_median(&mut [(3.0, 5.0), (1.0, 1.0), (2.0, 1.0)]);
        assert!((even - 2.5).abs() < 1e-12 && (heavy - 3.0).abs() < 1e-12, "{even} {heavy}");
    }

    /// Without a probe, every dose is told as the design has it.
    #[test]
    fn floats_alone_measure_no_share() {
        let system = samples::floats();
        let hour = |hour: u32| format!("2026-11-19T{hour:02}:00:00Z");
        let doses: Vec<_> = (0..20).map(|n| samples::dose(&system, &hour(n), None, &[0.5, 0.5])).collect();
        assert_eq!(level(&system, SplitterIx(0), &doses, EventTime::MIN), None);
        assert_eq!(received(&system, BasinIx(0), &doses), None);
        assert!(measures(&samples::terrace()) && measures(&samples::single()));
    }

    #[test]
    fn too_few_doses_tell_nothing() {
        let system = samples::terrace();
        let few = &doses(&system, 0.25, 0.25)[..4];
        assert_eq!(level(&system, SplitterIx(0), few, EventTime::MIN), None);
    }
}
