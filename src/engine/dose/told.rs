//! Doses and conclusions about shares as they are told.

use super::cause::Cause;
use super::diagnose::{Explanation, Weighed};
use super::gains::Gains;
use super::measure::{Measured, Part, PartState};
use super::recent::Recent;
use super::rises::{Missing, Risen};
use crate::engine::board::{Conclusion, Spot};
use crate::engine::{Dose, words};
use crate::model::{
    BasinIx, EventTime, Evidence, FindingKind, Place, Quantity, Severity, SplitterIx, System,
};
use crate::stats::bayes::{logistic, logit};

/// A splitter nearer to its design than this can wait for the next visit: 60/40 (common practice, no published source).
const WORTH_A_VISIT: f64 = 0.105;
/// What asked for a visit asks for it until it is smaller by this factor: an alert that flaps is one too many.
const STILL_WORTH: f64 = 0.75;

/// A dose that was seen, and no rain with it, is not told as worth nothing at all.
const LEAST_QUALITY: f64 = 0.01;

/// A dose with its shares, of which `changes` are the logarithms against the usual.
pub(super) fn dose(
    system: &System,
    gains: &Gains,
    began: EventTime,
    measured: &Measured,
    changes: &[Option<f64>],
    litres: Option<f64>,
) -> Dose {
    let shares: Vec<(BasinIx, f64)> = system
        .basin_ixs()
        .zip(changes)
        .filter_map(|(basin, change)| Some((basin, gains.share(system, basin) * (*change)?.exp())))
        .collect();
    let total: f64 = shares.iter().map(|(_, share)| share).sum();
    let shows = |part: &&Part| part.state == PartState::Measured && part.deviation < 1.0;
    let seen = || measured.parts.iter().filter(shows);
    let certain: f64 = seen().map(|part| 1.0 - part.share_deviation().min(1.0)).sum();
    let certain = (certain / measured.parts.len() as f64).max(LEAST_QUALITY);
    // What a probe shows below a floor that holds water up says little of shares, but that water came.
    let tells = |part: &Part| part.is_heard() && part.deviation < 1.0;
    let is_worthless = measured.rain || !measured.parts.iter().any(tells);
    Dose {
        at: began,
        litres: litres.map(|litres| round(litres, 1)),
        shares: shares.into_iter().map(|(basin, share)| (basin, round(share / total, 4))).collect(),
        quality: round(if is_worthless { 0.0 } else { certain }, 2),
    }
}

/// The float of a basin, or the basin itself if it has none.
fn float_of(system: &System, basin: BasinIx) -> Spot {
    system.find_sensor(Place::Basin(basin), Quantity::Float).map_or(Spot::Basin(basin), Spot::Sensor)
}

/// Kind and place of the finding that a cause is.
pub(super) fn place(system: &System, cause: Cause) -> (FindingKind, Spot) {
    match cause {
        Cause::Tilted { splitter, .. } => (FindingKind::UnevenSplit, Spot::Splitter(splitter)),
        Cause::Blocked { basin, .. } => (FindingKind::BlockedOutlet, Spot::Basin(basin)),
        Cause::Lingers { basin, .. } => (FindingKind::SlowSoak, Spot::Basin(basin)),
        Cause::Sensor { basin, .. } => {
            let of = |quantity| system.find_sensor(Place::Basin(basin), quantity).map(Spot::Sensor);
            match (of(Quantity::Moisture), of(Quantity::Float)) {
                (None, Some(float)) => (FindingKind::SensorStuck, float),
                (probe, _) => (FindingKind::SensorImplausible, probe.unwrap_or(Spot::Basin(basin))),
            }
        }
    }
}

/// An explanation asks for a visit from this probability on; until then it is only noted.
const WARNS_FROM: f64 = 0.8;

/// Floats in one yard err alike, so that they say less than if they did not; log odds against anything being wrong before
/// it is seen (common practice, no published source).
const TEMPER: f64 = 0.5;
const BY_FLOATS: f64 = -1.5;

/// What is concluded, with its evidence. Whether it has `warned` before: then a little less certainty takes nothing back.
pub(super) fn conclusion(
    system: &System,
    gains: &Gains,
    recent: &Recent,
    since: EventTime,
    weighed: &Weighed,
    warned: impl Fn(FindingKind, Spot) -> bool,
) -> Conclusion {
    let Explanation { cause, probability, log_odds } = weighed.ranked[0];
    let (kind, spot) = place(system, cause);
    let mut estimate = vec![("since", since.to_string().into())];
    estimate.extend(numbers(system, gains, cause));
    if let (Cause::Tilted { splitter, .. }, Some((low, high))) = (cause, log_odds) {
        let share = |log_odds: f64| round(share_a(system, gains, splitter, log_odds), 3).into();
        estimate.extend([("share_a_low", share(low)), ("share_a_high", share(high))]);
    }
    let ranked = weighed.ranked.iter().map(|explanation| {
        let (kind, spot) = place(system, explanation.cause);
        serde_json::json!({
            "finding": kind, "subject": spot.subject(system), "probability": round(explanation.probability, 3),
        })
    });
    estimate.push(("explanations", ranked.collect::<Vec<_>>().into()));
    estimate.push(("no_fault", round(weighed.drift, 3).into()));
    estimate.push(("doses", recent.since(since).count().into()));
    let warned = warned(kind, spot);
    let is_noted = probability < WARNS_FROM && !warned;
    let severity = if is_noted { Severity::Info } else { severity(system, gains, cause, warned) };
    let evidence = vec![Evidence { at: Some(since), says: sentence(system, gains, recent, since, cause) }];
    Conclusion { kind, spot, severity, probability: round(probability.min(0.99), 3), estimate, evidence }
}

/// An outlet that lets nothing through, or a float that is jammed, told by floats alone.
pub(super) fn by_floats(
    system: &System,
    missing: Missing,
    kind: FindingKind,
    since: EventTime,
) -> Conclusion {
    let Missing { basin, sum, asked, .. } = missing;
    let any = logistic(TEMPER * sum + BY_FLOATS);
    let of = |part: f64| round((any * part).min(0.99), 3);
    let silts = missing.silts.map_or(0.0, |(_, silts)| silts);
    let of_outlet = (FindingKind::BlockedOutlet, Spot::Basin(basin), of(1.0 - missing.jammed - silts));
    let of_float = (FindingKind::SensorStuck, float_of(system, basin), of(missing.jammed));
    let of_floor = |(neighbour, silts)| (FindingKind::SlowSoak, Spot::Basin(neighbour), of(silts));
    let mut ranked: Vec<(FindingKind, Spot, f64)> = [of_outlet, of_float].into();
    ranked.extend(missing.silts.map(of_floor));
    ranked.retain(|(.., probability)| *probability > 0.0);
    // What is told stays first.
    ranked.sort_by(|a, b| (a.0 != kind).cmp(&(b.0 != kind)).then(b.2.total_cmp(&a.2)));
    let explanations = ranked.iter().map(|(kind, spot, probability)| {
        serde_json::json!({ "finding": kind, "subject": spot.subject(system), "probability": probability })
    });
    let (_, spot, probability) = ranked[0];
    let mut estimate = vec![("since", since.to_string().into())];
    if kind == FindingKind::BlockedOutlet {
        let design = round(system.tree().design_share(basin), 4);
        estimate.extend([("share", 0.0.into()), ("design", design.into())]);
    }
    estimate.extend([
        ("explanations", explanations.collect::<Vec<_>>().into()),
        ("no_fault", round(1.0 - any, 3).into()),
        ("doses", asked.into()),
    ]);
    let risen = |risen: Risen| (risen.times, f64::from(risen.expected));
    let mut says =
        words::float_stays_down(system, &words::basin(system, basin), since, asked, risen(missing.risen));
    if kind == FindingKind::BlockedOutlet
        && let Some((neighbour, _)) = missing.silts
    {
        says += &words::float_beside(&words::basin(system, neighbour), risen(missing.beside));
    }
    Conclusion {
        kind,
        spot,
        severity: if probability < WARNS_FROM { Severity::Info } else { Severity::Warning },
        probability,
        estimate,
        evidence: vec![Evidence { at: Some(since), says }],
    }
}

/// What the basins concerned received, in words.
fn sentence(system: &System, gains: &Gains, recent: &Recent, since: EventTime, cause: Cause) -> String {
    let share = |basin: BasinIx| {
        gains.share(system, basin)
            * recent.share(basin.0 as usize, since).map_or(0.0, |share| share.value).clamp(-4.0, 2.5).exp()
    };
    let total: f64 = system.basin_ixs().map(share).sum();
    let received = |basin: BasinIx| {
        let design = system.tree().design_share(basin);
        (basin, 100.0 * share(basin) / total, 100.0 * design)
    };
    let concerned: Vec<_> = match cause {
        Cause::Blocked { basin, .. } | Cause::Sensor { basin, .. } | Cause::Lingers { basin, .. } => {
            let parent = system.tree().parent(basin);
            let is_near = |other: &BasinIx| {
                parent.is_some_and(|p| system.tree().side_of(p.splitter, *other) == Some(1 - p.side))
            };
            std::iter::once(basin).chain(system.basin_ixs().filter(is_near)).map(received).collect()
        }
        Cause::Tilted { splitter, .. } => {
            let below = |b: &BasinIx| system.tree().side_of(splitter, *b).is_some();
            system.basin_ixs().filter(below).map(received).collect()
        }
    };
    words::shares(system, since, &concerned)
}

fn numbers(system: &System, gains: &Gains, cause: Cause) -> Vec<(&'static str, serde_json::Value)> {
    match cause {
        Cause::Tilted { splitter, log_odds } => {
            let design = system.splitter(splitter).split[0];
            let share_a = share_a(system, gains, splitter, log_odds);
            vec![
                ("share_a", round(share_a, 3).into()),
                ("share_b", round(1.0 - share_a, 3).into()),
                ("design_a", design.into()),
            ]
        }
        Cause::Blocked { basin, passes } => {
            let design = system.tree().design_share(basin);
            let share = gains.share(system, basin) * passes;
            vec![("share", round(share, 3).into()), ("design", round(design, 4).into())]
        }
        Cause::Sensor { change, .. } | Cause::Lingers { change, .. } => {
            vec![("gain_factor", round(change.exp(), 2).into())]
        }
    }
}

/// A split that is off by little can wait for the next visit, and so can a sensor. What has `warned` goes on to until it
/// is notably less.
fn severity(system: &System, gains: &Gains, cause: Cause, warned: bool) -> Severity {
    match cause {
        Cause::Tilted { splitter, log_odds } => {
            let design = system.splitter(splitter).split[0];
            let off = (share_a(system, gains, splitter, log_odds) - design).abs();
            let worth = if warned { STILL_WORTH * WORTH_A_VISIT } else { WORTH_A_VISIT };
            if off < worth { Severity::Info } else { Severity::Warning }
        }
        Cause::Blocked { .. } => Severity::Warning,
        Cause::Sensor { .. } | Cause::Lingers { .. } => Severity::Info,
    }
}

/// What goes to side a of a splitter that is off by `log_odds`.
fn share_a(system: &System, gains: &Gains, splitter: SplitterIx, log_odds: f64) -> f64 {
    logistic(logit(gains.split(system, splitter)) + log_odds)
}

fn round(value: f64, digits: i32) -> f64 {
    let scale = 10f64.powi(digits);
    (value * scale).round() / scale
}

#[cfg(test)]
mod tests {
    use super::super::likelihood::Common;
    use super::*;
    use crate::engine::stories::yard;

    #[test]
    fn a_dose_is_worth_nothing_if_it_rained_and_little_if_only_slow_floors_show_it() {
        let system = yard();
        let part = |state| Part {
            log_shown: -3.0,
            miss: 0.0,
            deviation: 0.1,
            slope: 1.0,
            full: 0.0,
            stood: false,
            state,
        };
        let quality = |state, rain| {
            let (prior, parts) = (Common { mean: 0.0, spread: 0.5 }, vec![part(state); 2]);
            let measured = Measured { level: 0.0, size: 0.0, metered: None, rain, prior, common: 0.0, parts };
            let changes = [Some(0.0); 2];
            dose(&system, &Gains::new(2), EventTime::from_secs(0), &measured, &changes, None).quality
        };
        assert!(quality(PartState::Measured, false) > 0.8);
        // A probe below a floor that holds water up is put aside, but it showed that water came.
        assert!((quality(PartState::Unknown, false) - LEAST_QUALITY).abs() < 1e-12);
        assert!(quality(PartState::Measured, true).abs() < 1e-12);
    }
}
