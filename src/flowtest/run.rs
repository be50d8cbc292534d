//! One run of water: what each basin received, and how sure that is.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::model::{BasinIx, EventTime, Id, SplitterIx, System};
use crate::stats::interval::Estimate;
use crate::stats::logratio;

/// A standard deviation of the logarithm of a basin's water below this is not believed.
const LEAST_DEVIATION: f64 = 0.03;
/// The smallest share that a probe or a bucket can tell from nothing.
const LEAST_SHARE: f64 = 0.005;

/// How water is measured.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Method {
    /// By the probes, as for any dose.
    Probes,
    /// Caught in buckets below the outlets.
    Buckets,
}

/// What was caught below one outlet.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Caught {
    /// Litres read off the bucket.
    pub litres: f64,
    /// Litres between two marks of the bucket.
    pub mark_litres: f64,
}

/// One run of water.
#[derive(Clone, Debug, PartialEq)]
pub struct Run {
    /// When it began.
    pub at: EventTime,
    /// How it was measured.
    pub method: Method,
    /// What each basin received, by any measure that is the same for all; only basins that were measured.
    received: BTreeMap<BasinIx, Estimate>,
}

impl Run {
    /// A dose as the engine told it: shares, and a quality between 0 and 1. None where rain touched it or less than
    /// two basins were measured.
    ///
    /// The quality is one less the mean standard deviation of the logarithm of each basin's water, a basin that was
    /// not measured counting as unknown altogether; the deviation is taken back out of it here.
    pub fn by_probes(
        system: &System,
        at: EventTime,
        shares: &BTreeMap<Id, f64>,
        quality: f64,
    ) -> Option<Self> {
        let measured: Vec<(BasinIx, f64)> =
            shares.iter().filter_map(|(id, share)| Some((system.find_basin(id.as_str())?, *share))).collect();
        if quality <= 0.0 || measured.len() < 2 {
            return None;
        }
        let certain = quality * system.tree().basins() as f64 / measured.len() as f64;
        let deviation = (1.0 - certain).max(LEAST_DEVIATION);
        let estimate =
            |share: f64| Estimate { value: share, variance: (share.max(LEAST_SHARE) * deviation).powi(2) };
        let received = measured.into_iter().map(|(basin, share)| (basin, estimate(share))).collect();
        Some(Self { at, method: Method::Probes, received })
    }

    /// Volumes caught below the outlets. None with less than two buckets.
    ///
    /// A reading to the nearest mark is off by at most half a mark either way, all values alike: a standard
    /// uncertainty of mark/√12 (JCGM 100:2008, "Guide to the expression of uncertainty in measurement", 4.3.7).
    pub fn by_buckets(system: &System, at: EventTime, caught: &BTreeMap<Id, Caught>) -> Option<Self> {
        let estimate =
            |caught: &Caught| Estimate { value: caught.litres, variance: caught.mark_litres.powi(2) / 12.0 };
        let received: BTreeMap<_, _> = caught
            .iter()
            .filter_map(|(id, caught)| Some((system.find_basin(id.as_str())?, estimate(caught))))
            .collect();
        (received.len() >= 2).then_some(Self { at, method: Method::Buckets, received })
    }

    /// Basins below `splitter` that were not measured.
    pub(super) fn missing(&self, system: &System, splitter: SplitterIx) -> Vec<BasinIx> {
        let below = |basin: &BasinIx| system.tree().side_of(splitter, *basin).is_some();
        system.basin_ixs().filter(below).filter(|basin| !self.received.contains_key(basin)).collect()
    }

    /// ln(water to side a / water to side b) at `splitter`; none unless every basin below it was measured and any
    /// water came.
    ///
    /// The variance is that of independent errors by the delta method ([`logratio::amalgamated`]).
    pub(super) fn log_ratio(&self, system: &System, splitter: SplitterIx) -> Option<Estimate> {
        if !self.missing(system, splitter).is_empty() {
            return None;
        }
        let side = |side: usize| {
            let on_it =
                |(basin, _): &(&BasinIx, &Estimate)| system.tree().side_of(splitter, **basin) == Some(side);
            Estimate::total(self.received.iter().filter(on_it).map(|(_, received)| *received))
        };
        let (a, b) = (side(0), side(1));
        let all: f64 = self.received.values().map(|received| received.value).sum();
        let ratio = logratio::amalgamated(a, b, LEAST_SHARE * all);
        (a.value + b.value > 0.0 && ratio.value.is_finite()).then_some(ratio)
    }
}
