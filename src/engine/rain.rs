//! Whether water came from the sky or through the drain, where no gauge says.
//!
//! Rain wets every basin, alike in depth whatever its share of a dose, slowly, and no meter counts it. A dose
//! divides by the splitters, comes within minutes, and passes the meter. Each sign is a log likelihood ratio;
//! they add up with the prior. Spreads and prior are common practice, no published source.

use crate::stats::interval::Estimate;

/// Log odds that a wetting is rain before anything is seen of it: about one in ten.
const PRIOR: f64 = -2.2;
/// A meter that counts, or one that is alive and does not, weighs this much.
const METER: f64 = 5.0;
/// Spread of uncalibrated probes: logarithm of what one gains from the same depth of water.
const PROBE_SPREAD: f64 = 0.3;
/// Logarithm of the delay of rain over that of doses, and the spreads of both.
const RAIN_SLOWNESS: f64 = 1.0;
const RAIN_SLOWNESS_SPREAD: f64 = 0.8;
const DOSE_SLOWNESS_SPREAD: f64 = 0.4;
/// A basin that stays dry, though rain would have shown, weighs this much against rain.
const DRY: f64 = 2.5;
/// No one sign but the meter weighs more than this.
const MOST: f64 = 4.0;

/// What one basin showed of an event.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Response {
    /// Depth that a dose of unit volume would bring here by design: share over area.
    pub(crate) depth_of_dose: f64,
    /// Water gained at the probe, m³/m³; `None` if nothing was resolved.
    pub(crate) gained: Option<Estimate>,
    /// The least gain that would have been noticed, m³/m³.
    pub(crate) resolution: f64,
    /// Logarithm of the delay over this probe's usual one.
    pub(crate) slowness: Option<f64>,
}

/// What the meter says of the same time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Metered {
    /// It counted.
    Water,
    /// It is alive and did not count.
    Nothing,
    /// There is none, or it is silent.
    Unknown,
}

/// Log odds that an event was rain rather than a dose.
pub(crate) fn log_odds_of_rain(responses: &[Response], metered: Metered) -> f64 {
    let meter = match metered {
        Metered::Water => -METER,
        Metered::Nothing => METER,
        Metered::Unknown => 0.0,
    };
    PRIOR + meter + pattern(responses) + slowness(responses) - dry(responses)
}

/// How much better the gains fit equal depths than the design's shares.
fn pattern(responses: &[Response]) -> f64 {
    let alike = misfit(responses, |_| 1.0);
    let shared = misfit(responses, |response| response.depth_of_dose);
    (0.5 * (shared - alike)).clamp(-MOST, MOST)
}

/// Weighted sum of squares of the logarithms of gain over expected gain, about their mean: the event's size
/// is free.
fn misfit(responses: &[Response], expected: impl Fn(&Response) -> f64) -> f64 {
    let terms = || {
        responses.iter().filter_map(|response| {
            let gained = response.gained.filter(|gained| gained.value > 0.0)?;
            let relative = gained.variance / (gained.value * gained.value);
            let weight = 1.0 / (PROBE_SPREAD * PROBE_SPREAD + relative);
            Some((weight, (gained.value / expected(response)).ln()))
        })
    };
    let total: f64 = terms().map(|(weight, _)| weight).sum();
    let mean = terms().map(|(weight, log)| weight * log).sum::<f64>() / total;
    terms().map(|(weight, log)| weight * (log - mean).powi(2)).sum()
}

/// How much better the delays fit rain. One cloud and one dose delay all basins together, so their mean
/// counts once.
fn slowness(responses: &[Response]) -> f64 {
    let known = || responses.iter().filter(|response| response.gained.is_some()).filter_map(|r| r.slowness);
    let count = known().count();
    if count == 0 {
        return 0.0;
    }
    // Quicker than usual says no more than usual.
    let mean = (known().sum::<f64>() / count as f64).max(0.0);
    let log_density = |centre: f64, spread: f64| -0.5 * ((mean - centre) / spread).powi(2) - spread.ln();
    let mean_rain = log_density(RAIN_SLOWNESS, RAIN_SLOWNESS_SPREAD);
    (mean_rain - log_density(0.0, DOSE_SLOWNESS_SPREAD)).clamp(-MOST, MOST)
}

/// Weight of the basins that stayed dry although the depth of the others would have shown there.
fn dry(responses: &[Response]) -> f64 {
    let gains = || responses.iter().filter_map(|response| response.gained).map(|gained| gained.value);
    let count = gains().count();
    if count == 0 {
        return 0.0;
    }
    let usual = gains().sum::<f64>() / count as f64;
    let should_show = |r: &&Response| r.gained.is_none() && usual > 2.0 * r.resolution;
    DRY * responses.iter().filter(should_show).count() as f64
}

#[cfg(test)]
mod tests {
    use super::*;

    fn response(depth_of_dose: f64, gained: f64, slowness: f64) -> Response {
        Response {
            depth_of_dose,
            gained: (gained > 0.0).then_some(Estimate { value: gained, variance: 4e-6 }),
            resolution: 0.008,
            slowness: Some(slowness),
        }
    }

    #[test]
    fn equal_depths_under_unequal_shares_that_come_slowly_are_rain() {
        let rain =
            [(0.5, 0.04), (0.125, 0.05), (0.125, 0.045), (0.25, 0.035)].map(|(d, g)| response(d, g, 1.1));
        assert!(log_odds_of_rain(&rain, Metered::Unknown) > 2.0);
        assert!(log_odds_of_rain(&rain, Metered::Nothing) > 6.0);
    }

    #[test]
    fn depths_by_share_that_come_at_once_are_a_dose() {
        let dose =
            [(0.5, 0.10), (0.125, 0.028), (0.125, 0.022), (0.25, 0.05)].map(|(d, g)| response(d, g, 0.1));
        assert!(log_odds_of_rain(&dose, Metered::Unknown) < -4.0);
        assert!(log_odds_of_rain(&dose, Metered::Water) < -8.0);
    }

    #[test]
    fn a_meter_that_counts_outweighs_a_slow_and_even_wetting() {
        let even = [(0.5, 0.05), (0.5, 0.05)].map(|(d, g)| response(d, g, 1.2));
        assert!(log_odds_of_rain(&even, Metered::Water) < 0.0);
    }

    #[test]
    fn a_dry_basin_speaks_against_rain() {
        let wet = [(0.5, 0.06), (0.5, 0.06)].map(|(d, g)| response(d, g, 0.9));
        let half = [(0.5, 0.06), (0.5, 0.0)].map(|(d, g)| response(d, g, 0.9));
        assert!(log_odds_of_rain(&half, Metered::Unknown) < log_odds_of_rain(&wet, Metered::Unknown) - 2.0);
    }

    #[test]
    fn nothing_seen_leaves_the_prior() {
        assert!((log_odds_of_rain(&[], Metered::Unknown) - PRIOR).abs() < 1e-12);
        let blind = [response(1.0, 0.0, 0.0)];
        assert!((log_odds_of_rain(&blind, Metered::Unknown) - PRIOR).abs() < 1e-12);
    }
}
