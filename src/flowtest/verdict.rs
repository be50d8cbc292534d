//! What the runs of a test say of each splitter.

use serde::{Deserialize, Serialize};

use super::run::{Method, Run};
use crate::model::{Id, SplitterIx, System};
use crate::stats::bayes::{logistic, logit};
use crate::stats::normal;
use crate::stats::pooled::pooled;

/// A splitter is even while the share of side a lies this close to its design: 44 to 56 % at one that halves. Within
/// it, a line's basins get within an eighth of their water (common practice, no published source).
pub const TOLERANCE: f64 = 0.06;
/// A verdict needs this probability, 5 % of error either way.
const SURE: f64 = 0.95;
/// Coverage of the interval that is told.
const COVERAGE: f64 = 0.95;
/// More runs than this are not asked for: buckets tell sooner.
const MOST_RUNS: usize = 6;
/// Probes err by this much alike in every run, as a standard deviation of the log ratio: what they are used to show is
/// not known better (common practice, no published source).
const PROBES_ALIKE: f64 = 0.06;

/// What is said of a splitter.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Verdict {
    /// It divides as designed, within [`TOLERANCE`].
    Even,
    /// It does not.
    Uneven,
    /// The runs so far do not tell.
    Unclear,
    /// Not every basin below it is measured.
    Unmeasured,
}

/// What to do next about a splitter.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", tag = "do")]
pub enum Next {
    /// Nothing: it is proved.
    Nothing,
    /// As many more runs like these should tell.
    RunAgain {
        /// How many.
        runs: usize,
    },
    /// Runs with little and with much water tell a splitter off level from a blocked line below it.
    TellApart,
    /// Catch and read the volumes.
    Buckets {
        /// Basins whose probes do not measure; empty where all do but more runs would not tell.
        blind: Vec<Id>,
    },
}

/// The result at one splitter.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct SplitResult {
    /// The splitter.
    pub splitter: Id,
    /// Fraction that side a should receive.
    pub design_a: f64,
    /// Fraction that side a received.
    pub share_a: Option<f64>,
    /// Where it lies with 95 % probability.
    pub interval: Option<(f64, f64)>,
    /// Probability that it is within [`TOLERANCE`] of the design.
    pub within: Option<f64>,
    /// Runs that it rests on.
    pub runs: usize,
    /// How the runs agree: above 1 where they scatter more than their own uncertainty (Birge's ratio).
    pub scatter: Option<f64>,
    /// The verdict.
    pub verdict: Verdict,
    /// What to do next.
    pub next: Next,
}

/// What a test came to.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Outcome {
    /// Runs that counted.
    pub runs: usize,
    /// By splitter, in the system's order.
    pub splits: Vec<SplitResult>,
}

/// Judges every splitter of `system` by `runs`.
pub fn judge(system: &System, runs: &[Run]) -> Outcome {
    let splitters = (0..system.splitters.len() as u16).map(SplitterIx);
    Outcome { runs: runs.len(), splits: splitters.map(|splitter| split(system, runs, splitter)).collect() }
}

impl Outcome {
    /// Whether there are splitters, and each is even.
    pub fn proves_the_split(&self) -> bool {
        !self.splits.is_empty() && self.splits.iter().all(|split| split.verdict == Verdict::Even)
    }
}

/// A log ratio by several runs.
#[derive(Clone, Copy)]
struct Measured {
    x: f64,
    /// Variance of the part by which runs differ.
    by_chance: f64,
    /// Variance of the part that all runs share.
    alike: f64,
    runs: usize,
}

impl Measured {
    /// Its variance after as many `more` runs of the same kind.
    fn variance(&self, more: usize) -> f64 {
        self.by_chance * self.runs as f64 / (self.runs + more) as f64 + self.alike
    }
}

fn split(system: &System, runs: &[Run], ix: SplitterIx) -> SplitResult {
    let splitter = system.splitter(ix);
    let (id, design_a) = (splitter.id.clone(), splitter.split[0]);
    let Some(all) = pooled(runs.iter().filter_map(|run| run.log_ratio(system, ix))) else {
        let blind = runs.last().map(|run| run.missing(system, ix)).unwrap_or_default();
        let blind: Vec<Id> = blind.into_iter().map(|basin| system.basin(basin).id.clone()).collect();
        let next = if blind.is_empty() { Next::RunAgain { runs: 1 } } else { Next::Buckets { blind } };
        let verdict = if runs.is_empty() { Verdict::Unclear } else { Verdict::Unmeasured };
        return SplitResult {
            splitter: id,
            design_a,
            share_a: None,
            interval: None,
            within: None,
            runs: 0,
            scatter: None,
            verdict,
            next,
        };
    };
    let by_probes = runs.iter().any(|run| run.method == Method::Probes);
    let measured = Measured {
        x: all.estimate.value,
        by_chance: all.estimate.variance,
        alike: if by_probes { PROBES_ALIKE.powi(2) } else { 0.0 },
        runs: all.count,
    };
    let (x, variance) = (measured.x, measured.variance(0));
    let within = within(design_a, x, variance);
    let verdict = verdict(within);
    let reach = normal::half_width(COVERAGE) * variance.sqrt();
    SplitResult {
        splitter: id,
        design_a,
        share_a: Some(logistic(x)),
        interval: Some((logistic(x - reach), logistic(x + reach))),
        within: Some(within),
        runs: all.count,
        scatter: (all.count > 1).then_some(all.birge),
        verdict,
        next: next(verdict, design_a, measured, runs),
    }
}

/// Probability that the share of side a lies within the tolerance, for a normal log ratio.
fn within(design_a: f64, x: f64, variance: f64) -> f64 {
    let z = |share: f64| (logit(share.clamp(1e-6, 1.0 - 1e-6)) - x) / variance.sqrt();
    normal::cumulative(z(design_a + TOLERANCE)) - normal::cumulative(z(design_a - TOLERANCE))
}

fn verdict(within: f64) -> Verdict {
    match within {
        p if p >= SURE => Verdict::Even,
        p if p <= 1.0 - SURE => Verdict::Uneven,
        _ => Verdict::Unclear,
    }
}

fn next(verdict: Verdict, design_a: f64, measured: Measured, runs: &[Run]) -> Next {
    match verdict {
        Verdict::Even => Next::Nothing,
        Verdict::Uneven => Next::TellApart,
        Verdict::Unmeasured => Next::Buckets { blind: Vec::new() },
        Verdict::Unclear => {
            // Were the estimate right, how many runs of the same kind would make it sure?
            let tells = |more: &usize| {
                self::verdict(within(design_a, measured.x, measured.variance(*more))) != Verdict::Unclear
            };
            let by_buckets = runs.last().is_some_and(|run| run.method == Method::Buckets);
            match (1..=MOST_RUNS).find(tells) {
                Some(runs) => Next::RunAgain { runs },
                None if by_buckets => Next::RunAgain { runs: MOST_RUNS },
                None => Next::Buckets { blind: Vec::new() },
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use jiff::tz::TimeZone;
    use proptest::prelude::*;

    use super::super::Caught;
    use super::*;
    use crate::model::{Basin, Chip, EventTime, Mulch, Soil, Source, Splitter, SystemParts, Tree};

    fn id(text: &str) -> Id {
        Id::new(text).unwrap()
    }

    /// s1 feeds s2 and fig; s2 feeds plum and pear; all halves.
    fn yard() -> System {
        let pairs = [("s1", "s2", "fig"), ("s2", "plum", "pear")];
        let basins = ["fig", "plum", "pear"].map(id);
        let split = |(s, a, b): (&str, &str, &str)| (id(s), [id(a), id(b)], [0.5, 0.5]);
        let tree = Tree::build(&pairs.map(split), &basins).unwrap();
        let basin = |id: &Id| Basin {
            id: id.clone(),
            plant: None,
            area_m2: 1.0,
            depth_mm: 300.0,
            mulch: Mulch { depth_mm: 200.0, chip: Chip::Coarse, placed: None },
            air_gap_mm: 150.0,
            at: None,
            float_height_mm: None,
            overflow_height_mm: None,
            moisture_depth_mm: None,
            flood_hold: None,
        };
        let splitter = |(s, ..): (&str, &str, &str)| Splitter { id: id(s), split: [0.5, 0.5], at: None };
        let parts = SystemParts {
            id: id("yard"),
            name: "Yard".into(),
            property: id("home"),
            zone: TimeZone::UTC,
            location: None,
            soil: Soil::Loam,
            commissioned: None,
            source: Source {
                people: 2,
                fixtures: vec![],
                litres_per_count: None,
                meter_after_diverter: false,
            },
            diverter: false,
            rain_mm_per_count: None,
            splitters: pairs.map(splitter).to_vec(),
            basins: basins.iter().map(basin).collect(),
            sensors: vec![],
        };
        System::new(parts, tree)
    }

    fn dose(shares: [f64; 3], quality: f64) -> Run {
        let shares =
            BTreeMap::from([(id("fig"), shares[0]), (id("plum"), shares[1]), (id("pear"), shares[2])]);
        Run::by_probes(&yard(), EventTime::from_secs(0), &shares, quality).unwrap()
    }

    fn buckets(litres: [f64; 3], mark_litres: f64) -> Run {
        let caught = |litres| Caught { litres, mark_litres };
        let all = [("fig", litres[0]), ("plum", litres[1]), ("pear", litres[2])];
        let all = all.into_iter().map(|(basin, litres)| (id(basin), caught(litres))).collect();
        Run::by_buckets(&yard(), EventTime::from_secs(0), &all).unwrap()
    }

    #[test]
    fn buckets_alone_prove_an_even_split_and_name_an_uneven_one() {
        let even = judge(&yard(), &[buckets([10.0, 5.0, 5.0], 0.1)]);
        assert!(even.proves_the_split(), "{even:?}");
        let off = judge(&yard(), &[buckets([10.0, 7.0, 3.0], 0.1)]);
        let verdicts: Vec<_> = off.splits.iter().map(|split| split.verdict).collect();
        assert_eq!(verdicts, [Verdict::Even, Verdict::Uneven], "one splitter is blamed, not its parent");
        assert!((off.splits[1].share_a.unwrap() - 0.7).abs() < 1e-9);
        assert_eq!(off.splits[1].next, Next::TellApart);
    }

    /// The interval of one bucket run by hand: u = 0.5/√12 L on 5.5 and 4.5 L; variance of the log ratio
    /// u²/5.5² + u²/4.5².
    #[test]
    fn the_uncertainty_of_buckets_is_that_of_their_marks() {
        let outcome = judge(&yard(), &[buckets([10.0, 5.5, 4.5], 0.5)]);
        let variance: f64 = 0.25 / 12.0 * (1.0 / 30.25 + 1.0 / 20.25);
        let x = (5.5f64 / 4.5).ln();
        let (low, high) = outcome.splits[1].interval.unwrap();
        assert!((low - logistic(x - 1.959_964 * variance.sqrt())).abs() < 1e-6);
        assert!((high - logistic(x + 1.959_964 * variance.sqrt())).abs() < 1e-6);
    }

    #[test]
    fn more_runs_make_an_unclear_verdict_clear_as_foretold() {
        let run = dose([0.5, 0.26, 0.24], 0.92);
        let first = judge(&yard(), std::slice::from_ref(&run));
        let Next::RunAgain { runs } = first.splits[1].next else { panic!("{first:?}") };
        let enough = judge(&yard(), &vec![run.clone(); runs + 1]);
        assert_eq!(enough.splits[1].verdict, Verdict::Even);
        let fewer = judge(&yard(), &vec![run; runs]);
        assert_eq!(fewer.splits[1].verdict, Verdict::Unclear);
    }

    #[test]
    fn a_blind_basin_leaves_its_splitters_unmeasured_and_the_others_judged() {
        let shares = BTreeMap::from([(id("plum"), 0.5), (id("pear"), 0.5)]);
        let run = Run::by_probes(&yard(), EventTime::from_secs(0), &shares, 0.66).unwrap();
        let outcome = judge(&yard(), &[run]);
        assert_eq!(outcome.splits[0].verdict, Verdict::Unmeasured);
        assert_eq!(outcome.splits[0].next, Next::Buckets { blind: vec![id("fig")] });
        assert_ne!(outcome.splits[1].verdict, Verdict::Unmeasured);
    }

    #[test]
    fn rain_and_a_single_basin_are_no_run() {
        let shares = BTreeMap::from([(id("plum"), 0.5), (id("pear"), 0.5)]);
        assert_eq!(Run::by_probes(&yard(), EventTime::from_secs(0), &shares, 0.0), None);
        let one = BTreeMap::from([(id("plum"), 1.0)]);
        assert_eq!(Run::by_probes(&yard(), EventTime::from_secs(0), &one, 0.9), None);
    }

    proptest! {
        /// Whatever came: probabilities and shares stay what they are, intervals hold their estimate, and agreeing
        /// runs never make it less sure.
        #[test]
        fn results_are_always_coherent(
            parts in prop::array::uniform3(0.0..1.0f64), quality in 0.01..1.0f64, n in 1usize..8
        ) {
            let total: f64 = parts.iter().sum::<f64>() + 1e-9;
            let run = dose(parts.map(|part| part / total), quality);
            let once = judge(&yard(), std::slice::from_ref(&run));
            let often = judge(&yard(), &vec![run; n]);
            for (one, many) in once.splits.iter().zip(&often.splits) {
                let Some((low, high)) = many.interval else { continue };
                let share = many.share_a.unwrap();
                prop_assert!(0.0 <= low && low <= share && share <= high && high <= 1.0);
                prop_assert!((0.0..=1.0).contains(&many.within.unwrap()));
                let (low_once, high_once) = one.interval.unwrap();
                prop_assert!(high - low <= high_once - low_once + 1e-9);
            }
        }
    }
}
