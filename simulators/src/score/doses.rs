//! How well doses were measured: litres one by one, shares over thirty days.

use std::collections::BTreeMap;

use super::said::DoseSaid;
use crate::scenario::Scenario;
use crate::span::Span;
use crate::truth::TrueDose;

/// A reported dose and a true one belong together when they begin within this of each other.
const TOGETHER_MS: i64 = Span::minutes(90).ms();
/// Length of a window over which shares are compared.
const WINDOW_MS: i64 = Span::days(30).ms();
/// Fewest reported doses that make a share.
const FEWEST_DOSES: usize = 10;
/// True doses below this leave no trace that anybody could read (L).
const TRACELESS_L: f64 = 5.0;

/// Relative errors of the litres of reported doses, each against the true doses that it covers.
pub(super) fn litre_errors(said: &[DoseSaid], truth: &[TrueDose]) -> Vec<f64> {
    let mut true_litres = vec![0.0; said.len()];
    for dose in truth {
        let landed: f64 = dose.basin_litres.iter().sum();
        if let Some(index) = nearest(said, dose.start_ms) {
            true_litres[index] += landed;
        }
    }
    let pairs = said.iter().zip(true_litres).filter(|(_, litres)| *litres > TRACELESS_L);
    pairs.filter_map(|(dose, litres)| dose.litres.map(|said| (said - litres).abs() / litres)).collect()
}

/// The reported dose that began nearest to a time, if any began near it.
fn nearest(said: &[DoseSaid], start_ms: i64) -> Option<usize> {
    let after = said.partition_point(|dose| dose.at.as_millisecond() < start_ms);
    let apart = |index: &usize| (said[*index].at.as_millisecond() - start_ms).abs();
    [after.checked_sub(1), Some(after)]
        .into_iter()
        .flatten()
        .filter(|index| *index < said.len())
        .min_by_key(apart)
        .filter(|index| apart(index) <= TOGETHER_MS)
}

/// Absolute errors of each basin's share, window by window. Truth is taken of the basins that were reported, and of
/// all that reached them, rain or not.
pub(super) fn share_errors(said: &[DoseSaid], truth: &[TrueDose], scenario: &Scenario) -> Vec<f64> {
    let mut errors = Vec::new();
    let mut from_ms = scenario.start_ms;
    while from_ms + WINDOW_MS <= scenario.end_ms() {
        let window = from_ms..from_ms + WINDOW_MS;
        let reported: Vec<&DoseSaid> =
            said.iter().filter(|dose| window.contains(&dose.at.as_millisecond())).collect();
        if reported.len() >= FEWEST_DOSES {
            let named = mean_shares(&reported);
            let litres = |basin: &String| -> f64 {
                let index = scenario.site.basin_index(basin);
                let within = truth.iter().filter(|dose| window.contains(&dose.start_ms));
                within.filter_map(|dose| dose.basin_litres.get(index?)).sum()
            };
            let all: f64 = named.keys().map(litres).sum();
            if all > 0.0 {
                errors.extend(named.iter().map(|(basin, share)| (share - litres(basin) / all).abs()));
            }
        }
        from_ms += WINDOW_MS;
    }
    errors
}

/// Shares over several doses, weighted by litres where they are known.
fn mean_shares(doses: &[&DoseSaid]) -> BTreeMap<String, f64> {
    let usual = median(&mut doses.iter().filter_map(|dose| dose.litres).collect::<Vec<f64>>()).unwrap_or(1.0);
    let mut sums: BTreeMap<String, f64> = BTreeMap::new();
    for dose in doses {
        for (basin, share) in &dose.shares {
            *sums.entry(basin.clone()).or_default() += share * dose.litres.unwrap_or(usual);
        }
    }
    let all: f64 = sums.values().sum();
    sums.into_iter().map(|(basin, sum)| (basin, if all > 0.0 { sum / all } else { 0.0 })).collect()
}

/// The middle value, or the mean of the two middle ones.
pub(super) fn median(values: &mut [f64]) -> Option<f64> {
    if values.is_empty() {
        return None;
    }
    values.sort_by(f64::total_cmp);
    let middle = values.len() / 2;
    let high = values[middle];
    Some(if values.len().is_multiple_of(2) { f64::midpoint(values[middle - 1], high) } else { high })
}
