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
    let landed = true_litres(said, truth).into_iter().map(|litres| litres.iter().sum::<f64>());
    let pairs = said.iter().zip(landed).filter(|(_, litres)| *litres > TRACELESS_L);
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

/// Absolute errors of each basin's share, window by window. A basin is judged by the doses that name it; truth is taken
/// of the basins that the dose names, and of all that reached them, rain or not.
pub(super) fn share_errors(said: &[DoseSaid], truth: &[TrueDose], scenario: &Scenario) -> Vec<f64> {
    let litres = true_litres(said, truth);
    let usual = median(&mut said.iter().filter_map(|dose| dose.litres).collect::<Vec<f64>>()).unwrap_or(1.0);
    let mut errors = Vec::new();
    let mut from_ms = scenario.start_ms;
    while from_ms + WINDOW_MS <= scenario.end_ms() {
        let window = from_ms..from_ms + WINDOW_MS;
        let within = said.iter().zip(&litres).filter(|(dose, _)| window.contains(&dose.at.as_millisecond()));
        let mut sums: BTreeMap<&str, Sums> = BTreeMap::new();
        for (dose, litres) in within {
            let of = |basin: &str| scenario.site.basin_index(basin).and_then(|i| litres.get(i)).copied();
            let named: f64 = dose.shares.keys().filter_map(|basin| of(basin)).sum();
            if named <= 0.0 {
                continue;
            }
            let weight = dose.litres.unwrap_or(usual);
            for (basin, share) in &dose.shares {
                let true_share = of(basin).unwrap_or(0.0) / named;
                sums.entry(basin).or_default().add(weight, *share, true_share);
            }
        }
        errors.extend(sums.values().filter_map(Sums::error));
        from_ms += WINDOW_MS;
    }
    errors
}

/// What reached each basin of a site, by reported dose (L). Water that follows within the same time on water that
/// belongs to a reported dose belongs to it too: it came before the first had soaked away.
fn true_litres(said: &[DoseSaid], truth: &[TrueDose]) -> Vec<Vec<f64>> {
    let mut litres = vec![Vec::new(); said.len()];
    let mut last: Option<(usize, i64)> = None;
    for dose in truth {
        let follows = || last.filter(|(_, until_ms)| dose.start_ms - until_ms <= TOGETHER_MS);
        if let Some(index) = nearest(said, dose.start_ms).or_else(|| follows().map(|(index, _)| index)) {
            last = Some((index, dose.end_ms));
            let sums: &mut Vec<f64> = &mut litres[index];
            sums.resize(dose.basin_litres.len(), 0.0);
            sums.iter_mut().zip(&dose.basin_litres).for_each(|(sum, landed)| *sum += landed);
        }
    }
    litres
}

/// One basin's shares in a window, as reported and as they were.
#[derive(Debug, Default)]
struct Sums {
    doses: usize,
    weight: f64,
    said: f64,
    truth: f64,
}

impl Sums {
    fn add(&mut self, weight: f64, said: f64, truth: f64) {
        self.doses += 1;
        self.weight += weight;
        self.said += weight * said;
        self.truth += weight * truth;
    }

    fn error(&self) -> Option<f64> {
        (self.doses >= FEWEST_DOSES && self.weight > 0.0)
            .then(|| (self.said - self.truth).abs() / self.weight)
    }
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
