//! Which explanation fits what changed best, and how probable each one is.

use super::cause::Cause;
use super::drift::Drift;
use super::recent::Recent;
use crate::model::{EventTime, System};
use crate::stats::bayes::{log_sum_exp, normalise};

/// Explanations less probable than this are not told.
const LEAST_PROBABILITY: f64 = 0.02;
/// Likelihoods are tempered: episodes of one week err alike, so that they say less than if they did not.
const TEMPER: f64 = 0.75;
/// Log odds against an outlet that passes nothing for each episode in which water stood below it, and for how many.
const STOOD: f64 = -1.5;
const MOST_STOOD: usize = 4;
/// One episode speaks for no explanation by more than this against the others.
const MOST: f64 = 9.0;
/// Log odds that nothing is wrong and that what was seen is chance, against the causes' own: what fits nothing must fall
/// to that, or each explanation would have a part of it.
const AS_EVER: f64 = 2.3;

/// An explanation with its probability.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Explanation {
    /// In the size that fits best; a tilt in the mean of the sizes that fit.
    pub(super) cause: Cause,
    pub(super) probability: f64,
    /// For a tilted splitter, log odds that hold the true ones with 80 %.
    pub(super) log_odds: Option<(f64, f64)>,
}

/// Everything that explains what changed; the probabilities sum to one but for what is too improbable to tell.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Weighed {
    /// What would be wrong, most probable first.
    pub(super) ranked: Vec<Explanation>,
    /// Probability that nothing is: sensors and soil drift.
    pub(super) drift: f64,
}

/// Ranks the explanations of what changed since `since`, most probable first, each beside what is believed already.
pub(super) fn explain(system: &System, recent: &Recent, since: EventTime, believed: &[Cause]) -> Weighed {
    let causes: Vec<Vec<Cause>> = Cause::kinds(system).into_iter().map(Cause::sizes).collect();
    let drift = Drift::fit(recent, since, TEMPER, |i, size| sum(system, believed, i, size));
    let mut fits = vec![0.0; causes.iter().map(Vec::len).sum::<usize>() + 2];
    let mut likelihoods = Vec::with_capacity(fits.len());
    for past in recent.since(since) {
        let beside = |change: &dyn Fn(usize) -> f64| {
            past.log_likelihood(|i| sum(system, believed, i, past.size) + change(i))
        };
        likelihoods.clear();
        likelihoods
            .extend(causes.iter().flatten().map(|cause| beside(&|i| cause.change(system, i, past.size))));
        likelihoods.push(beside(&|_| 0.0));
        likelihoods.push(beside(&|i| drift.by[i]));
        let best = likelihoods.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        for (fit, likelihood) in fits.iter_mut().zip(&likelihoods) {
            *fit += TEMPER * (likelihood - best).max(-MOST);
        }
    }
    let of_drift = fits.pop().unwrap_or(0.0) + drift.prior();
    let as_ever = fits.pop().unwrap_or(0.0) + AS_EVER;
    let no_fault = log_sum_exp(&[of_drift, as_ever]);
    let mut rest = fits.into_iter();
    let fits = causes.into_iter().filter_map(|sizes| {
        let of_size =
            |(cause, fit): (&Cause, f64)| fit + cause.prior(system) + by_float(*cause, recent, since);
        let weights: Vec<f64> = sizes.iter().zip(rest.by_ref()).map(of_size).collect();
        let best = (0..sizes.len()).max_by(|&a, &b| weights[a].total_cmp(&weights[b]))?;
        let weight = log_sum_exp(&weights) - (sizes.len() as f64).ln();
        let (tilt, log_odds) = tilt(&sizes, &weights).unzip();
        Some(Fit { weight, cause: tilt.unwrap_or(sizes[best]), log_odds })
    });
    rank(fits.collect(), no_fault)
}

/// What a float beside a probe says of an outlet that would pass little: where water stands, water came.
fn by_float(cause: Cause, recent: &Recent, since: EventTime) -> f64 {
    let Cause::Blocked { basin, passes } = cause else { return 0.0 };
    let stood = recent.since(since).filter(|past| past.parts[basin.0 as usize].stood).count();
    STOOD * (1.0 - passes) * stood.min(MOST_STOOD) as f64
}

/// Change of basin `i` by all of `causes` together.
pub(super) fn sum(system: &System, causes: &[Cause], i: usize, size: f64) -> f64 {
    causes.iter().map(|cause| cause.change(system, i, size)).sum()
}

/// How well one kind of cause fits.
struct Fit {
    weight: f64,
    cause: Cause,
    log_odds: Option<(f64, f64)>,
}

/// A tilt of the mean size, and the log odds between which four fifths of the weight of its sizes lie, each standing for
/// its step.
fn tilt(sizes: &[Cause], log_weights: &[f64]) -> Option<(Cause, (f64, f64))> {
    let Cause::Tilted { splitter, .. } = *sizes.first()? else { return None };
    let mut weights = log_weights.to_vec();
    normalise(&mut weights);
    let log_odds = sizes.iter().map(|size| match size {
        Cause::Tilted { log_odds, .. } => Some(*log_odds),
        Cause::Blocked { .. } | Cause::Sensor { .. } | Cause::Lingers { .. } => None,
    });
    let log_odds: Vec<f64> = log_odds.collect::<Option<_>>()?;
    let mean = log_odds.iter().zip(&weights).map(|(at, weight)| at * weight).sum();
    let half = 0.5 * (log_odds.last()? - log_odds.first()?) / (log_odds.len() as f64 - 1.0);
    let quantile = |level: f64| {
        let mut below = 0.0;
        let found = log_odds.iter().zip(&weights).find_map(|(at, weight)| {
            let within = (level - below) / weight;
            below += weight;
            (below >= level).then(|| at - half + 2.0 * half * within)
        });
        found.or_else(|| log_odds.last().copied())
    };
    Some((Cause::Tilted { splitter, log_odds: mean }, (quantile(0.1)?, quantile(0.9)?)))
}

fn rank(fits: Vec<Fit>, drift: f64) -> Weighed {
    let mut weights: Vec<f64> = fits.iter().map(|fit| fit.weight).chain([drift]).collect();
    normalise(&mut weights);
    let drift = weights.pop().unwrap_or(1.0);
    let ranked = fits.into_iter().zip(weights).map(|(fit, probability)| Explanation {
        cause: fit.cause,
        probability,
        log_odds: fit.log_odds,
    });
    let mut ranked: Vec<Explanation> = ranked.filter(|it| it.probability >= LEAST_PROBABILITY).collect();
    ranked.sort_by(|a, b| b.probability.total_cmp(&a.probability));
    Weighed { ranked, drift }
}

#[cfg(test)]
mod tests {
    use super::super::likelihood::Common;
    use super::super::measure::{Measured, Part, PartState};
    use super::*;
    use crate::engine::stories::{yard, yard_of};
    use crate::model::{BasinIx, Soil, SplitterIx, SystemParts};

    #[test]
    fn water_that_stands_below_an_outlet_speaks_against_its_being_blocked() {
        let part = |stood| Part {
            log_shown: -3.0,
            miss: -1.0,
            deviation: 0.1,
            slope: 1.0,
            full: 0.0,
            stood,
            state: PartState::Measured,
        };
        let prior = Common { mean: 0.0, spread: 0.5 };
        let mut recent = Recent::default();
        for (hour, stood) in [(0, true), (8, false), (16, true)] {
            let parts = vec![part(stood), part(false)];
            let measured =
                Measured { level: 0.0, size: 0.0, metered: None, rain: false, prior, common: 0.0, parts };
            recent.note(EventTime::from_secs(hour * 3600), &measured);
        }
        let blocked = |basin, passes| Cause::Blocked { basin: BasinIx(basin), passes };
        let odds = |cause, from| by_float(cause, &recent, EventTime::from_secs(from));
        assert!(odds(blocked(0, 0.02), 0) < odds(blocked(0, 0.02), 3600));
        assert!(odds(blocked(0, 0.02), 0) < odds(blocked(0, 0.5), 0));
        assert!(odds(blocked(1, 0.02), 0).abs() < 1e-12);
    }

    #[test]
    fn a_tilt_is_told_by_the_mean_of_its_sizes_and_an_interval_of_four_fifths_of_their_weight() {
        let sizes = Cause::Tilted { splitter: SplitterIx(0), log_odds: 0.4 }.sizes();
        // A normal curve around 0.5 with a deviation of 0.3: its quantiles lie 1.2816 deviations off.
        let weights: Vec<f64> = sizes
            .iter()
            .map(|size| match size {
                Cause::Tilted { log_odds, .. } => -0.5 * ((log_odds - 0.5) / 0.3).powi(2),
                Cause::Blocked { .. } | Cause::Sensor { .. } | Cause::Lingers { .. } => {
                    unreachable!("a tilt in all sizes")
                }
            })
            .collect();
        let (told, (low, high)) = tilt(&sizes, &weights).expect("it is a tilt");
        let Cause::Tilted { log_odds, .. } = told else { unreachable!("{told:?}") };
        assert!((log_odds - 0.5).abs() < 0.01, "{log_odds}");
        assert!((low - (0.5 - 0.384)).abs() < 0.03 && (high - (0.5 + 0.384)).abs() < 0.03, "{low} {high}");
        let blocked = Cause::Blocked { basin: BasinIx(0), passes: 0.1 }.sizes();
        assert_eq!(tilt(&blocked, &vec![0.0; blocked.len()]), None);
    }

    /// What is missed in one basin, while its neighbours are too full to show whether they got more.
    fn missed(soil: Soil) -> Weighed {
        let known = yard();
        let system = System::new(SystemParts { soil, ..(**known).clone() }, known.tree().clone());
        let part = |miss: f32| Part {
            log_shown: -3.0,
            miss,
            deviation: 0.12,
            slope: 1.0,
            full: 0.8,
            stood: false,
            state: PartState::Measured,
        };
        let prior = Common { mean: 0.0, spread: 0.5 };
        let mut recent = Recent::default();
        for hour in 0..4 {
            let mut parts = vec![part(0.02); system.basins.len()];
            parts[0] = Part { full: 0.1, ..part(-1.2) };
            let measured =
                Measured { level: 0.0, size: 0.0, metered: None, rain: false, prior, common: 0.0, parts };
            recent.note(EventTime::from_secs(hour * 3600), &measured);
        }
        explain(&system, &recent, EventTime::from_secs(0), &[])
    }

    #[test]
    fn one_episode_that_fits_nothing_well_may_be_chance_and_tells_nothing() {
        let system =
            yard_of(&["a", "b", "c", "d"], &[("s1", ["s2", "s3"]), ("s2", ["a", "b"]), ("s3", ["c", "d"])]);
        let told = |misses: [f32; 4]| {
            let part = |miss| Part {
                log_shown: -3.0,
                miss,
                deviation: 0.12,
                slope: 1.0,
                full: 0.1,
                stood: false,
                state: PartState::Measured,
            };
            let (prior, parts) = (Common { mean: 0.0, spread: 0.5 }, misses.map(part).to_vec());
            let measured =
                Measured { level: 0.0, size: 0.0, metered: None, rain: false, prior, common: 0.0, parts };
            let mut recent = Recent::default();
            recent.note(EventTime::from_secs(0), &measured);
            explain(&system, &recent, EventTime::from_secs(0), &[])
        };
        // Both pairs lean, one to each side: no one cause does that.
        let chance = told([0.9, -0.9, -0.9, 0.9]);
        let most = chance.ranked.first().map_or(0.0, |it| it.probability);
        assert!(chance.drift > 0.1 && most < 0.25, "{chance:?}");
        let tilted = told([0.6, -1.2, 0.0, 0.0]);
        assert!(tilted.ranked[0].probability > 2.0 * tilted.drift, "{tilted:?}");
    }

    #[test]
    fn fine_soil_holds_water_up_where_sand_would_not() {
        let lingers = |soil| {
            let weighed = missed(soil);
            let of = |it: &&Explanation| matches!(it.cause, Cause::Lingers { basin: BasinIx(0), .. });
            weighed.ranked.iter().find(of).map_or(0.0, |it| it.probability)
        };
        let (clay, loam, sand) = (lingers(Soil::Clay), lingers(Soil::Loam), lingers(Soil::Sand));
        assert!(clay > loam && loam > sand && sand < 0.1 && clay > 0.3, "{clay} {loam} {sand}");
    }
}
