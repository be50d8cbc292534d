//! What a finished dose brought to each basin.

use super::gather::Gathered;
use super::habit::Habit;
use crate::engine::rain::{Metered, Response as RainResponse, log_odds_of_rain};
use crate::model::{BasinIx, System};
use crate::stats::interval::Estimate;

/// Depth of soil that a probe stands for, mm (common practice, no published source); only its ratio from
/// basin to basin matters once the habit is learnt.
const SENSED_MM: f64 = 300.0;
/// A basin from which this part of the least noticeable gain is expected could not have shown the dose.
const SHOWS_FROM: f64 = 1.5;

/// What is known of a basin's probe when a dose is measured.
#[derive(Clone, Copy, Debug)]
pub(super) struct ProbeNow {
    /// It is believed and heard.
    pub(super) usable: bool,
    /// The least gain that would be noticed, m³/m³.
    pub(super) resolution: f64,
}

/// A dose in numbers.
#[derive(Clone, Debug)]
pub(super) struct Measured {
    /// Logarithm of the dose's size: litres by the meter, or the probes' own measure.
    pub(super) log_size: f64,
    /// Litres by the meter.
    pub(super) metered: Option<f64>,
    pub(super) rain: bool,
    pub(super) parts: Vec<Part>,
}

/// What one basin received.
#[derive(Clone, Copy, Debug)]
pub(super) struct Part {
    /// Logarithm of what the probe showed over what the design would bring.
    pub(super) log_gain: f64,
    /// That less the probe's habit: 0 when all is as ever.
    pub(super) log_share: f64,
    pub(super) state: PartState,
}

/// What a part's number is worth.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum PartState {
    /// Measured.
    Measured,
    /// Nothing was resolved, though the usual share would have been: the number is an upper bound.
    Below,
    /// The probe was at its ceiling: the number is a lower bound.
    Above,
    /// No number.
    Unknown,
}

impl Part {
    const UNKNOWN: Self = Self { log_gain: f64::NAN, log_share: f64::NAN, state: PartState::Unknown };
}

/// Measures a finished dose; none if no usable probe showed any of it.
pub(super) fn measure(
    system: &System,
    dose: &Gathered,
    probes: &[ProbeNow],
    habits: &[Habit],
    has_meter: bool,
    has_gauge: bool,
) -> Option<Measured> {
    let usable = |i: &usize| probes[*i].usable;
    let design = |i: usize| system.tree().design_share(BasinIx(i as u16));
    let scale = |i: usize| system.basin(BasinIx(i as u16)).area_m2 * SENSED_MM;
    let shown = |i: usize| dose.responses[i].wettings > 0 && dose.responses[i].gained > 0.0;
    let indices = || (0..probes.len()).filter(usable);
    if !indices().any(shown) {
        return None;
    }
    let metered = (has_meter && dose.metered > 0.0).then_some(dose.metered);
    // Without a meter the size is what the probes show, each by its own habit.
    let own_size = || {
        let gained: f64 = indices().filter(|&i| shown(i)).map(|i| dose.responses[i].gained * scale(i)).sum();
        let expected: f64 = indices().map(design).sum();
        gained / expected
    };
    let log_size = metered.unwrap_or_else(own_size).ln();
    let part = |i: usize| {
        if !probes[i].usable {
            return Part::UNKNOWN;
        }
        let response = &dose.responses[i];
        let expected = habits[i].expect(log_size);
        let log_unit = log_size + design(i).ln() - scale(i).ln();
        if shown(i) {
            let log_gain = response.gained.ln() - log_unit;
            let state = if response.censored { PartState::Above } else { PartState::Measured };
            return Part { log_gain, log_share: log_gain - expected, state };
        }
        let resolution = probes[i].resolution;
        if (log_unit + expected).exp() < SHOWS_FROM * resolution {
            return Part::UNKNOWN;
        }
        let log_gain = (0.5 * resolution).ln() - log_unit;
        Part { log_gain, log_share: log_gain - expected, state: PartState::Below }
    };
    let parts: Vec<Part> = (0..probes.len()).map(part).collect();
    let rain = dose.rain || (!has_gauge && looks_like_rain(system, dose, probes, has_meter));
    Some(Measured { log_size, metered, rain, parts })
}

/// Without a gauge, rain is told by its signature.
fn looks_like_rain(system: &System, dose: &Gathered, probes: &[ProbeNow], has_meter: bool) -> bool {
    let responses: Vec<RainResponse> = (0..probes.len())
        .filter(|&i| probes[i].usable)
        .map(|i| {
            let (ix, response) = (BasinIx(i as u16), &dose.responses[i]);
            let gained = Estimate { value: response.gained, variance: response.variance };
            RainResponse {
                depth_of_dose: system.tree().design_share(ix) / system.basin(ix).area_m2,
                gained: (response.wettings > 0).then_some(gained),
                resolution: probes[i].resolution,
                slowness: response.slowness,
            }
        })
        .collect();
    let metered = match (has_meter, dose.metered > 0.0) {
        (false, _) => Metered::Unknown,
        (true, true) => Metered::Water,
        (true, false) => Metered::Nothing,
    };
    log_odds_of_rain(&responses, metered) > 0.0
}
