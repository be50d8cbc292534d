//! Recession fit on simulated samples: unbiased, and its stated uncertainty holds.

use basinward::stats::recession::Recession;
use basinward::stats::regression::Line;

use crate::assert_close;
use crate::noise::Noise;

#[test]
fn the_stated_deviation_of_the_time_constant_holds() {
    let mut noise = Noise::seeded(21);
    let (mut squares, mut bias) = (0.0, 0.0);
    let runs = 100;
    for _ in 0..runs {
        let mut recession = Recession::new();
        for i in 0..144 {
            let hours = f64::from(i) / 12.0;
            recession.observe(hours, 0.22 + 0.08 * (-hours / 4.0).exp() + 0.003 * noise.normal());
        }
        let fit = recession.fit().expect("144 samples");
        let error = (fit.time_constant / 4.0).ln();
        bias += error / f64::from(runs);
        squares += (error / fit.log_time_constant_deviation).powi(2) / f64::from(runs);
        assert!(fit.residual_variance.sqrt() < 0.006, "{fit:?}");
    }
    assert_close("bias of ln τ", bias, 0.0, 0.03);
    assert_close("mean squared standard score", squares, 1.0, 0.5);
}

#[test]
fn the_extrapolated_curve_holds_within_its_variance() {
    let mut noise = Noise::seeded(22);
    let mut outside = 0;
    let runs = 100;
    for _ in 0..runs {
        let mut recession = Recession::new();
        for i in 0..72 {
            let hours = f64::from(i) / 12.0;
            recession.observe(hours, 0.22 + 0.08 * (-hours / 4.0).exp() + 0.003 * noise.normal());
        }
        let expected = recession.fit().expect("72 samples").at(7.0);
        let truth = 0.22 + 0.08 * (-7.0_f64 / 4.0).exp();
        outside += i32::from((expected.value - truth).powi(2) > 4.0 * expected.variance);
    }
    assert!(outside <= 12, "{outside} of {runs} beyond two deviations");
}

/// NIST/SEMATECH Statistical Reference Datasets, linear regression, Norris: certified slope 1.00211681802045,
/// residual standard deviation 0.884796396144373 (data and certified values as published; from memory).
#[test]
fn a_straight_line_through_the_norris_data() {
    let data = [
        (0.1, 0.2),
        (338.8, 337.4),
        (118.1, 118.2),
        (888.0, 884.6),
        (9.2, 10.1),
        (228.1, 226.5),
        (668.5, 666.3),
        (998.5, 996.3),
        (449.1, 448.6),
        (778.9, 777.0),
        (559.2, 558.2),
        (0.3, 0.4),
        (0.1, 0.6),
        (778.1, 775.5),
        (668.8, 666.9),
        (339.3, 338.0),
        (448.9, 447.5),
        (10.8, 11.6),
        (557.7, 556.0),
        (228.3, 228.1),
        (998.0, 995.8),
        (888.8, 887.6),
        (119.6, 120.2),
        (0.3, 0.3),
        (0.6, 0.3),
        (557.6, 556.8),
        (339.3, 339.1),
        (888.0, 887.2),
        (998.5, 999.0),
        (778.9, 779.0),
        (10.2, 11.1),
        (117.6, 118.3),
        (228.9, 229.2),
        (668.4, 669.1),
        (449.2, 448.9),
        (0.2, 0.5),
    ];
    let mut line = Line::default();
    for (y, x) in data {
        line.observe(x, y, 1.0);
    }
    let fit = line.fit().expect("36 points");
    assert_close("slope", fit.slope.value, 1.002_116_818_020_45, 1e-11);
    assert_close("intercept", fit.at(0.0).value, -0.262_323_073_774_029, 1e-9);
    assert_close("residual deviation", fit.residual_variance.sqrt(), 0.884_796_396_144_373, 1e-10);
    let deviation = (fit.slope.variance * fit.residual_variance).sqrt();
    assert_close("deviation of the slope", deviation, 0.429_796_848_199_937e-3, 1e-11);
}
