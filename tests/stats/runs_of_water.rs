//! What runs of water claim of a splitter where probes measure them, against what truly passed it (simulated yards).

use std::collections::BTreeMap;

use basinward::flowtest::{Run, SplitResult, TOLERANCE, Verdict, judge};
use basinward::model::{EventTime, SplitterIx};

use super::yard::Yard;

/// Doses before this are of a yard that nobody knows yet.
const LEARNT_DAYS: i64 = 30;
/// Litres that somebody would run on purpose.
const LITRES: f64 = 60.0;
/// A dose shows within this of when its water began to run.
const SHOWS_WITHIN_MS: i64 = 90 * 60 * 1000;

impl Yard {
    /// Each dose that somebody might have run, as a test by probes judges it: at every splitter what is said of it,
    /// and the part that truly went to side a.
    fn judged(&self) -> impl Iterator<Item = (SplitResult, f64)> {
        let large =
            self.doses_after(LEARNT_DAYS).filter(|dose| dose.litres.is_some_and(|litres| litres >= LITRES));
        large.flat_map(|dose| {
            let named = |(basin, share): &(_, f64)| (self.system.basin(*basin).id.clone(), *share);
            let shares: BTreeMap<_, _> = dose.shares.iter().map(named).collect();
            let run = Run::by_probes(&self.system, dose.at, &shares, dose.quality);
            let splits = run.map(|run| judge(&self.system, &[run]).splits).unwrap_or_default();
            splits.into_iter().enumerate().filter_map(|(splitter, split)| {
                Some((split, self.true_share_a(dose.at, SplitterIx(splitter as u16))?))
            })
        })
    }

    fn true_share_a(&self, at: EventTime, splitter: SplitterIx) -> Option<f64> {
        let nears =
            self.truth.doses.iter().filter(|dose| (dose.start_ms - at.millis()).abs() < SHOWS_WITHIN_MS);
        let mut sides = [0.0; 2];
        for dose in nears {
            for (basin, litres) in self.system.basin_ixs().zip(&dose.basin_litres) {
                if let Some(side) = self.system.tree().side_of(splitter, basin) {
                    sides[side] += litres;
                }
            }
        }
        let all: f64 = sides.iter().sum();
        (all > 0.0).then(|| sides[0] / all)
    }
}

/// An interval said to hold the share with 95 % must do so, in dry soil and in wet; nobody may be sent to level a
/// splitter that divides evenly.
#[test]
fn a_run_claims_of_a_splitter_no_more_than_is_so() {
    let yards = [
        ("healthy-sixteen", 21),
        ("healthy-moisture-only", 22),
        ("healthy-unequal", 23),
        ("healthy-clay", 24),
        ("healthy-rain", 25),
    ];
    for (name, seed) in yards {
        let (mut all, mut held, mut wronged) = (0, 0, 0);
        for (split, share) in Yard::simulated(name, 200, seed).judged() {
            let Some((low, high)) = split.interval else { continue };
            all += 1;
            held += usize::from((low..=high).contains(&share));
            let is_even = (share - split.design_a).abs() < TOLERANCE;
            wronged += usize::from(is_even && split.verdict == Verdict::Uneven);
        }
        assert!(all >= 100, "{name}: {all}");
        assert!(held * 100 >= all * 93, "{name}: {held} of {all}");
        assert!(wronged * 100 <= all, "{name}: {wronged} of {all}");
    }
}
