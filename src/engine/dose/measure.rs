//! What a finished episode brought to each basin, against what its sensor is used to show.

use super::episode::Episode;
use super::habit::{Habit, Habits};
use super::likelihood::{self, Common};
use crate::engine::rain::{Metered, Response as RainResponse, log_odds_of_rain};
use crate::model::{BasinIx, System};
use crate::stats::bayes::{logistic, logit};
use crate::stats::interval::Estimate;
use crate::stats::robust::median;

/// A basin whose sensor would show less than this many of its uncertainties in this weather says nothing.
const SHOWS_FROM: f64 = 2.0;
/// How far the common level may lie from what the meter's litres would show: seasons and antecedent wetness, and how far
/// from the middle of the sensors without a meter (logarithms).
const COMMON_METERED: f64 = 0.7;
const COMMON_FREE: f64 = 0.5;
/// Change of what sensors show (logarithm) with the logarithm of the water, far from their fullness: mulch and the soil
/// above keep a part of each dose, so that what comes through grows faster than what came (by the tuning seeds).
const RESPONSE: f64 = 1.2;
/// The local slope is never taken for less: a full sensor tells next to nothing of shares.
const LEAST_SLOPE: f64 = 0.1;

/// What a basin's sensor shows of water, and how well.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Shown {
    /// A probe's rise over what drying would have left, m³/m³.
    Rise {
        amplitude: f64,
        /// Standard deviation of a reading, m³/m³.
        deviation: f64,
        /// Water content before the episode, m³/m³.
        before: f64,
        /// The probe was at its ceiling.
        at_ceiling: bool,
        /// The least gain that would be noticed as a wetting, m³/m³; for telling rain.
        resolution: f64,
    },
    /// Minutes that a float was up.
    Float { minutes: f64 },
    /// There is no sensor that can be believed.
    Nothing,
}

/// An episode in numbers.
#[derive(Clone, Debug)]
pub(super) struct Measured {
    /// What the sensors show in common, against their usual levels (logarithm).
    pub(super) level: f64,
    /// Logarithm of the size: litres by the meter, or what the sensors have in common.
    pub(super) size: f64,
    /// Litres by the meter.
    pub(super) metered: Option<f64>,
    pub(super) rain: bool,
    /// What is known of the common part beforehand.
    pub(super) prior: Common,
    /// What all basins have in common beyond the level.
    pub(super) common: f64,
    pub(super) parts: Vec<Part>,
}

/// What one basin received.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
pub(super) struct Part {
    /// Logarithm of what the sensor showed.
    pub(super) log_shown: f32,
    /// That less its habit: 0 when all is as ever.
    pub(super) miss: f32,
    /// Standard deviation of the miss.
    pub(super) deviation: f32,
    /// Change of what the sensor shows (logarithm) with the logarithm of the water, far from its fullness.
    pub(super) slope: f32,
    /// How near the sensor is to showing no more however much comes, 0 to 1.
    pub(super) full: f32,
    /// Whether water stood at the float, where a probe is measured by.
    pub(super) stood: bool,
    pub(super) state: PartState,
}

/// What a part's number is worth.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub(super) enum PartState {
    /// Measured.
    Measured,
    /// Nothing was resolved, though the usual share would have been: the number is an upper bound.
    Below,
    /// The sensor was at its ceiling: the number is a lower bound.
    Above,
    /// No number.
    Unknown,
}

impl Part {
    /// Whether there is a sensor that is heard and believed, whatever it shows.
    pub(super) fn is_heard(&self) -> bool {
        !self.log_shown.is_nan()
    }

    /// Logarithm of the basin's water over its habit, what all have in common taken out; `NaN` where unknown.
    pub(super) fn log_share(&self, common: f64) -> f64 {
        let (slope, full) = (f64::from(self.slope), f64::from(self.full));
        let shift = (f64::from(self.miss) - common) / slope;
        if full <= 0.0 || !shift.is_finite() {
            return shift;
        }
        let after = (full * (2.0 * shift).exp()).min(0.97);
        0.5 * (logit(after) - logit(full))
    }

    /// How far what the sensor shows would move (logarithm) if its water changed by `change` (logarithm): what a probe
    /// shows, `a` of at most `A`, grows as `d ln a / d ln water = slope (1 - (a / A)²)`.
    pub(super) fn moves(&self, change: f64) -> f64 {
        let (slope, full) = (f64::from(self.slope), f64::from(self.full));
        if full <= 0.0 {
            return slope * change;
        }
        slope * 0.5 * (logistic(logit(full) + 2.0 * change) / full).ln()
    }

    /// Change of what the sensor shows with the logarithm of the water as it is.
    pub(super) fn local_slope(&self) -> f64 {
        f64::from(self.slope) * (1.0 - f64::from(self.full))
    }

    /// Standard deviation of the logarithm of the basin's water.
    pub(super) fn share_deviation(&self) -> f64 {
        f64::from(self.deviation) / self.local_slope().max(LEAST_SLOPE)
    }

    const UNKNOWN: Self = Self {
        log_shown: f32::NAN,
        miss: f32::NAN,
        deviation: f32::NAN,
        slope: f32::NAN,
        full: 0.0,
        stood: false,
        state: PartState::Unknown,
    };
}

/// Least number, its absolute uncertainty, and its relative one.
struct Worth {
    shown: f64,
    /// Content before, for a probe, m³/m³.
    before: Option<f64>,
    floor: f64,
    absolute: f64,
    relative: f64,
    at_ceiling: bool,
}

impl Shown {
    fn worth(self) -> Option<Worth> {
        match self {
            // What a small rise amounts to depends on how wet each layer above the probe was.
            Self::Rise { amplitude, before, deviation, at_ceiling, .. } => Some(Worth {
                shown: amplitude,
                before: Some(before),
                floor: 3.0 * deviation,
                absolute: 0.006 + 1.5 * deviation,
                relative: 0.04,
                at_ceiling,
            }),
            // A float only shows what stands above its height.
            Self::Float { minutes } => Some(Worth {
                shown: minutes,
                before: None,
                floor: 2.0,
                absolute: 12.0,
                relative: 1.0,
                at_ceiling: false,
            }),
            Self::Nothing => None,
        }
    }
}

/// Measures a finished episode; none if no sensor showed any of it.
pub(super) fn measure(
    system: &System,
    episode: &Episode,
    shown: &[Shown],
    habits: &Habits,
    has_meter: bool,
    has_gauge: bool,
) -> Option<Measured> {
    let worths: Vec<Option<Worth>> = shown.iter().map(|shown| shown.worth()).collect();
    if !worths.iter().flatten().any(|worth| worth.shown > worth.floor) {
        return None;
    }
    let level = consensus(&worths, &habits.basins)?;
    let metered = (has_meter && episode.metered > 0.0).then_some(episode.metered);
    let by_meter = metered.and_then(|litres| habits.size.expect(litres.ln()));
    let prior = match by_meter {
        Some(expected) => Common { mean: expected.log_shown - level, spread: COMMON_METERED },
        None => Common { mean: 0.0, spread: COMMON_FREE },
    };
    let part_at = |common: f64| -> Vec<Part> {
        let each = worths.iter().zip(&habits.basins);
        let full = habits.fullness(level + common);
        each.map(|(worth, habit)| part(worth.as_ref(), habit, level, common, full)).collect()
    };
    // How well a number is known depends on how large it would usually be in this weather.
    let common = likelihood::common(&part_at(0.0), |_| 0.0, prior);
    let mut parts = part_at(common);
    for ((part, shown), response) in parts.iter_mut().zip(shown).zip(&episode.responses) {
        part.stood = matches!(shown, Shown::Rise { .. }) && response.float_rose();
    }
    let rain = episode.rain || (!has_gauge && looks_like_rain(system, episode, shown, has_meter));
    let size = metered.map_or(level / RESPONSE, f64::ln);
    Some(Measured { level, size, metered, rain, prior, common, parts })
}

/// The middle of what the sensors show against their usual levels (logarithm); the first episode is as usual as any.
fn consensus(worths: &[Option<Worth>], habits: &[Habit]) -> Option<f64> {
    let known = || worths.iter().zip(habits).filter_map(|(worth, habit)| Some((worth.as_ref()?, habit)));
    let mut levels: Vec<f64> = known()
        .filter_map(|(worth, habit)| Some(worth.shown.max(worth.floor).ln() - habit.level()?))
        .collect();
    if levels.is_empty() { known().next().map(|_| 0.0) } else { Some(median(&mut levels)) }
}

fn part(worth: Option<&Worth>, habit: &Habit, level: f64, common: f64, full: f64) -> Part {
    let Some(worth) = worth else { return Part::UNKNOWN };
    let log_shown = worth.shown.max(worth.floor).ln();
    let Some(expected) = habit.expect(level) else {
        let deviation = f64::hypot(worth.relative, worth.absolute / worth.shown.max(worth.floor));
        let state = if worth.shown > worth.floor { PartState::Measured } else { PartState::Unknown };
        let (log_shown, deviation) = (log_shown as f32, deviation as f32);
        return Part {
            log_shown,
            miss: 0.0,
            deviation,
            slope: RESPONSE as f32,
            full: 0.0,
            stood: false,
            state,
        };
    };
    let usual = (expected.log_shown + common).exp();
    if usual < SHOWS_FROM * worth.absolute {
        return Part { log_shown: log_shown as f32, ..Part::UNKNOWN };
    }
    let state = if worth.shown <= worth.floor {
        PartState::Below
    } else if worth.at_ceiling {
        PartState::Above
    } else {
        PartState::Measured
    };
    let size = usual.max(0.5 * worth.shown);
    let log_shown = log_shown + worth.before.map_or(0.0, |it| habit.for_wetness(it, expected.log_shown));
    let deviation = expected.spread * f64::hypot(worth.relative, worth.absolute / size);
    Part {
        log_shown: log_shown as f32,
        miss: (log_shown - expected.log_shown) as f32,
        deviation: deviation as f32,
        slope: (expected.slope * RESPONSE) as f32,
        full: full as f32,
        stood: false,
        state,
    }
}

/// Without a gauge, rain is told by its signature.
fn looks_like_rain(system: &System, episode: &Episode, shown: &[Shown], has_meter: bool) -> bool {
    let responses: Vec<RainResponse> = shown
        .iter()
        .enumerate()
        .filter_map(|(i, shown)| {
            let Shown::Rise { resolution, .. } = *shown else { return None };
            let (ix, response) = (BasinIx(i as u16), &episode.responses[i]);
            let gained = Estimate { value: response.gained, variance: response.variance };
            Some(RainResponse {
                depth_of_dose: system.tree().design_share(ix) / system.basin(ix).area_m2,
                gained: (response.wettings > 0).then_some(gained),
                resolution,
                slowness: response.slowness,
            })
        })
        .collect();
    let metered = match (has_meter, episode.metered > 0.0) {
        (false, _) => Metered::Unknown,
        (true, true) => Metered::Water,
        (true, false) => Metered::Nothing,
    };
    log_odds_of_rain(&responses, metered) > 0.0
}

#[cfg(test)]
mod tests {
    use super::*;

    fn part(miss: f64, full: f32) -> Part {
        let state = PartState::Measured;
        Part { log_shown: 0.0, miss: miss as f32, deviation: 0.1, slope: 1.0, full, stood: false, state }
    }

    /// A first episode far from all others would be a lever that turns every line flat.
    #[test]
    fn the_first_episode_is_as_usual_as_any_and_the_second_is_measured_against_it() {
        let worths = |shown: f64| {
            let rise = Shown::Rise {
                amplitude: shown,
                deviation: 0.001,
                before: 0.2,
                at_ceiling: false,
                resolution: 0.005,
            };
            [rise.worth(), None, rise.worth()]
        };
        let mut habits = vec![Habit::default(); 3];
        assert_eq!(consensus(&worths(0.05), &habits), Some(0.0));
        for basin in [0, 2] {
            habits[basin].learn(0.0, 0.05_f64.ln(), 0.0, 0.1, false);
        }
        let second = consensus(&worths(0.10), &habits).expect("sensors showed it");
        assert!((second - 2.0_f64.ln()).abs() < 1e-9, "{second}");
        assert_eq!(consensus(&[None, None, None], &habits), None);
    }

    /// Levels are told from where they began, or what was learnt first would lie in the wrong place of the line.
    #[test]
    fn a_yard_that_begins_with_a_small_dose_learns_how_much_more_shows_of_more() {
        let mut habits = vec![Habit::default(); 4];
        for n in 0..40 {
            let size = if n == 0 { -2.5 } else { 0.04 * f64::from(n * 37 % 40) - 1.0 };
            let shown = [-2.3, -2.0, -2.6, -2.2].map(|usual: f64| usual + size);
            let worths = shown.map(|shown| {
                let (amplitude, before) = (shown.exp(), 0.2);
                Shown::Rise { amplitude, before, deviation: 1e-4, at_ceiling: false, resolution: 5e-4 }
                    .worth()
            });
            let level = consensus(&worths, &habits).expect("sensors showed it");
            for (habit, shown) in habits.iter_mut().zip(shown) {
                habit.learn(level, shown, 0.0, 0.1, false);
            }
        }
        for habit in &habits {
            let slope = habit.expect(0.0).expect("it learnt").slope;
            assert!((slope - 1.0).abs() < 0.05, "{slope}");
        }
    }

    #[test]
    fn what_a_change_of_water_shows_tells_the_change() {
        for full in [0.0, 0.1, 0.5] {
            for change in [-2.0, -0.3, 0.3] {
                let shown = part(0.0, full).moves(change);
                let told = part(shown, full).log_share(0.0);
                assert!((told - change).abs() < 1e-4, "{full} {change}: {told}");
            }
        }
    }

    #[test]
    fn a_full_sensor_shows_little_of_more_and_much_of_less() {
        let (more, less) = (part(0.0, 0.5).moves(0.7), part(0.0, 0.5).moves(-0.7));
        assert!(more < 0.25 && less < -0.35, "{more} {less}");
        assert!((part(0.0, 0.0).moves(0.7) - 0.7).abs() < 1e-9);
    }
}
