//! How fast any test can be: bounds on the mean delay of detecting a Gaussian shift at a given false-alarm
//! rate.

use super::cusum::Design;
use super::run_length;

/// Kullback–Leibler divergence of a unit normal moved by `shift` standard deviations, in nats an observation.
pub fn gaussian_divergence(shift: f64) -> f64 {
    0.5 * shift * shift
}

/// Lorden's (1971) lower bound on the worst mean delay, in observations, as the run length grows:
/// ln(ARL₀)/KL.
///
/// `arl` counts one direction of change. The bound is asymptotic: at moderate run lengths the best test can
/// be a few observations quicker (see [`least_delay`]).
pub fn asymptotic_delay(arl: f64, shift: f64) -> f64 {
    arl.ln() / gaussian_divergence(shift)
}

/// The exact least worst-case mean delay, in observations, of any two-sided test for a known `shift` in
/// either direction whose arms together run `arl` observations between false signals.
///
/// Moustakides (1986) proved that the CUSUM with half the shift as reference attains it (one-sided; the
/// two-sided value uses the usual symmetric pair). The worst moment for the change is when the arm stands at
/// zero.
pub fn least_delay(arl: f64, shift: f64) -> f64 {
    let design = Design::for_shift(shift.abs(), arl);
    run_length::cusum_two_sided(design.reference, design.limit, shift.abs(), 0.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_bound_is_approached_from_below_as_run_length_grows() {
        let ratio = |arl: f64| least_delay(arl, 1.0) / asymptotic_delay(2.0 * arl, 1.0);
        let (short, long) = (ratio(100.0), ratio(1e6));
        assert!(short < long && long < 1.0, "{short} {long}");
    }
}
