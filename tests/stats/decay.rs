//! First-order decay with published rates of woody debris.

use basinward::stats::decay;

use crate::assert_close;

/// Rates per year: hand-piled fuels in Washington and New Mexico (Wright 2017, USDA PNW-RN-574); coarse woody
/// debris of 49 years' median and 92 years' mean lifetime to 95 % loss (Mackensen, Bauhus & Webber 2003).
#[test]
fn half_lives_and_lifetimes_of_published_rates() {
    let table = [
        (0.027, 25.6721, 110.953, 0.973_361, 0.922_194),
        (0.064, 10.8304, 46.8083, 0.938_005, 0.825_307),
        (0.0611, 11.3445, 49.03, 0.940_729, 0.832_518),
        (0.0326, 21.2622, 91.8936, 0.967_926, 0.906_83),
    ];
    for (rate, half_life, lifetime, after_one, after_three) in table {
        assert_close("half life", decay::half_life(rate), half_life, 1e-4);
        assert_close("95 % lifetime", decay::time_until(rate, 0.05), lifetime, 1e-3);
        assert_close("left after a year", decay::fraction_left(rate, 1.0), after_one, 1e-6);
        assert_close("left after three", decay::fraction_left(rate, 3.0), after_three, 1e-6);
        assert_close(
            "rate from a lifetime",
            decay::rate_from(0.05, decay::time_until(rate, 0.05)),
            rate,
            1e-12,
        );
    }
    assert_close("median lifetime of 49 years", decay::rate_from(0.05, 49.0), 0.0611, 5e-5);
}

/// Q₁₀ = 2.53 for coarse woody debris (Mackensen, Bauhus & Webber 2003).
#[test]
fn ten_degrees_multiply_the_rate_by_q10() {
    assert_close("10 to 20 °C", decay::q10_factor(2.53, 20.0, 10.0), 2.53, 1e-12);
    assert_close("10 to 15 °C", decay::q10_factor(2.53, 15.0, 10.0), 2.53_f64.sqrt(), 1e-12);
    assert_close("no change", decay::q10_factor(2.53, 12.0, 12.0), 1.0, 0.0);
}
