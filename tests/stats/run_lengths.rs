//! Average run lengths against published tables.

use basinward::stats::run_length::{
    cusum_limit, cusum_one_sided, cusum_two_sided, ewma_two_sided, ewma_width,
};

use crate::assert_close;

/// Lucas & Crosier (1982), Technometrics 24(3):199, table 1, as quoted in the manual of the R package spc:
/// two-sided CUSUM, k = 0.5, h = 4, without and with a head start of h/2.
#[test]
fn two_sided_cusum_matches_lucas_and_crosier() {
    let table = [
        (0.0, 168.0, 0.5),
        (0.25, 74.2, 0.05),
        (0.5, 26.6, 0.05),
        (0.75, 13.3, 0.05),
        (1.0, 8.38, 0.005),
        (1.5, 4.75, 0.005),
        (2.0, 3.34, 0.005),
        (2.5, 2.62, 0.005),
        (3.0, 2.19, 0.005),
        (4.0, 1.71, 0.005),
    ];
    for (shift, published, rounding) in table {
        assert_close(&format!("shift {shift}"), cusum_two_sided(0.5, 4.0, shift, 0.0), published, rounding);
    }
    let head_start =
        [(0.0, 149.0, 0.5), (0.25, 62.7, 0.05), (0.5, 20.1, 0.05), (0.75, 8.97, 0.005), (1.0, 5.29, 0.005)];
    for (shift, published, rounding) in head_start {
        assert_close(
            &format!("head start, shift {shift}"),
            cusum_two_sided(0.5, 4.0, shift, 2.0),
            published,
            rounding,
        );
    }
}

/// NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.3.1: one-sided CUSUM, k = 0.5. In control the page
/// rounds 336 from 335.4 and 930 from 930.9, so the tolerance there is one.
#[test]
fn one_sided_cusum_matches_the_nist_handbook() {
    for (limit, in_control, shifted, rounding) in [(4.0, 336.0, 8.38, 0.005), (5.0, 930.0, 10.4, 0.05)] {
        assert_close("in control", cusum_one_sided(0.5, limit, 0.0, 0.0), in_control, 1.0);
        assert_close("one deviation", cusum_one_sided(0.5, limit, 1.0, 0.0), shifted, rounding);
    }
}

/// Brook & Evans (1972), Biometrika 59(3):539, quoted in the manual of the R package spc: one-sided, k = 0.5,
/// h = 3.
#[test]
fn one_sided_cusum_matches_brook_and_evans() {
    assert_close("k 0.5 h 3", cusum_one_sided(0.5, 3.0, 0.0, 0.0), 117.59, 0.01);
}

/// The R package spc 0.6.7 (Knoth), `xcusum.arl`, four decimals: k, h, shift, one-sided, two-sided.
#[test]
fn cusum_matches_the_r_package_spc() {
    let table = [
        (0.5, 4.0, 0.0, 335.3676, 167.6838),
        (0.5, 4.0, 0.25, 77.0785, 74.2240),
        (0.5, 5.0, 0.0, 930.8870, 465.4435),
        (0.5, 5.0, 0.5, 38.0096, 37.9961),
        (0.5, 5.0, 4.0, 2.0126, 2.0126),
        (0.25, 8.01, 0.0, 740.6649, 370.3324),
        (0.25, 8.01, 1.0, 11.4065, 11.4065),
        (0.5, 4.77, 0.0, 737.1228, 368.5614),
        (0.75, 3.34, 0.0, 741.1490, 370.5745),
        (1.0, 2.52, 0.0, 745.6308, 372.8154),
        (1.0, 2.52, 0.5, 69.7182, 69.2997),
    ];
    for (k, h, shift, one_sided, two_sided) in table {
        let what = format!("k {k} h {h} shift {shift}");
        assert_close(&what, cusum_one_sided(k, h, shift, 0.0), one_sided, 6e-5);
        assert_close(&what, cusum_two_sided(k, h, shift, 0.0), two_sided, 6e-5);
    }
}

/// Lucas & Saccucci (1990), Technometrics 32(1):1, table 3, as quoted in the manual of the R package spc.
#[test]
fn ewma_matches_lucas_and_saccucci() {
    let shifts = [0.0, 0.25, 0.5, 0.75, 1.0, 1.5, 2.0, 2.5, 3.0, 4.0];
    let half = [500.0, 255.0, 88.8, 35.9, 17.5, 6.53, 3.63, 2.50, 1.93, 1.34];
    let slow = [500.0, 76.7, 29.3, 17.6, 12.6, 8.07, 5.99, 4.80, 4.03, 3.11];
    for (weight, width, row) in [(0.5, 3.071, half), (0.03, 2.437, slow)] {
        for (shift, published) in shifts.into_iter().zip(row) {
            let rounding = half_of_the_third_figure(published);
            assert_close(
                &format!("λ {weight}, shift {shift}"),
                ewma_two_sided(weight, width, shift),
                published,
                rounding,
            );
        }
    }
}

fn half_of_the_third_figure(printed: f64) -> f64 {
    0.5 * 10.0_f64.powf(printed.log10().floor() - 2.0)
}

/// The R package spc 0.6.7, `xewma.arl`, four decimals.
#[test]
fn ewma_matches_the_r_package_spc() {
    let table = [
        (0.5, 3.071, 0.0, 499.9060),
        (0.03, 2.437, 0.0, 499.8592),
        (0.2, 2.962, 0.0, 499.7351),
        (0.2, 2.962, 1.0, 10.5417),
        (0.1, 2.814, 0.0, 499.5796),
        (0.05, 2.615, 0.0, 499.9330),
        (0.05, 2.615, 4.0, 2.6945),
    ];
    for (weight, width, shift, published) in table {
        assert_close(
            &format!("λ {weight}, shift {shift}"),
            ewma_two_sided(weight, width, shift),
            published,
            6e-5,
        );
    }
}

/// Pairs of design for a two-sided run length near 370 (Hawkins & Olwell 1998), rounded to two decimals of h.
#[test]
fn a_wanted_run_length_gives_the_published_limit() {
    for (k, h) in [(0.25, 8.01), (0.5, 4.77), (0.75, 3.34), (1.0, 2.52)] {
        assert_close(&format!("k {k}"), cusum_limit(k, 370.4), h, 0.01);
    }
    for (weight, width) in [(0.5, 3.071), (0.2, 2.962), (0.1, 2.814), (0.03, 2.437)] {
        assert_close(&format!("λ {weight}"), ewma_width(weight, 500.0), width, 6e-4);
    }
}

#[test]
fn a_limit_gives_back_the_run_length_it_was_made_for() {
    for arl in [20.0, 500.0, 1e4, 1e7] {
        assert_close("CUSUM", cusum_two_sided(0.5, cusum_limit(0.5, arl), 0.0, 0.0) / arl, 1.0, 1e-6);
        assert_close("EWMA", ewma_two_sided(0.2, ewma_width(0.2, arl), 0.0) / arl, 1.0, 1e-6);
    }
}

#[test]
fn a_run_length_that_no_limit_reaches_is_refused() {
    // A reference value of two alone runs 22 observations with no limit at all.
    assert!(cusum_limit(2.0, 10.0).is_nan());
    assert!(cusum_limit(0.5, f64::NAN).is_nan());
    assert!(cusum_one_sided(0.5, -1.0, 0.0, 0.0).is_nan());
    assert!(ewma_two_sided(0.0, 3.0, 0.0).is_nan());
}
