//! Distributions against printed tables.

use basinward::stats::{interval::LogNormal, normal, student};

use crate::assert_close;

/// Abramowitz & Stegun (1964), table 26.1 and 26.5, and any table of the normal distribution.
#[test]
fn normal_quantiles_of_the_tables() {
    let table = [
        (0.75, 0.674_489_750_2),
        (0.9, 1.281_551_565_5),
        (0.95, 1.644_853_627_0),
        (0.975, 1.959_963_984_5),
        (0.99, 2.326_347_874_0),
        (0.999, 3.090_232_306_2),
    ];
    for (p, z) in table {
        assert_close(&format!("p {p}"), normal::quantile(p), z, 1e-10);
        assert_close(&format!("1 - {p}"), normal::quantile(1.0 - p), -z, 1e-9);
    }
    assert_close("tail of five deviations", normal::tail(5.0) / 2.866_515_719e-7, 1.0, 1e-9);
    assert_close("density at one", normal::density(1.0), 0.241_970_724_5, 1e-10);
    assert_close("half width of 80 %", normal::half_width(0.8), 1.281_551_565_5, 1e-10);
}

/// Percentage points of Student's t, three decimals, as in the NIST/SEMATECH e-Handbook 1.3.6.7.2.
#[test]
fn student_quantiles_of_the_nist_handbook() {
    let table = [
        (1.0, [3.078, 6.314, 12.706, 31.821, 63.657]),
        (2.0, [1.886, 2.920, 4.303, 6.965, 9.925]),
        (5.0, [1.476, 2.015, 2.571, 3.365, 4.032]),
        (10.0, [1.372, 1.812, 2.228, 2.764, 3.169]),
        (30.0, [1.310, 1.697, 2.042, 2.457, 2.750]),
        (100.0, [1.290, 1.660, 1.984, 2.364, 2.626]),
    ];
    for (freedom, row) in table {
        for (p, t) in [0.90, 0.95, 0.975, 0.99, 0.995].into_iter().zip(row) {
            assert_close(&format!("p {p}, {freedom} degrees"), student::quantile(p, freedom), t, 0.000_501);
        }
    }
}

/// Moments of the log-normal with μ = 0 and σ = 1: mean e^½, variance (e − 1) e, median 1 (NIST e-Handbook
/// 1.3.6.6.9).
#[test]
fn log_normal_moments() {
    let standard = LogNormal { log_mean: 0.0, log_variance: 1.0 };
    assert_close("mean", standard.mean(), 1.648_721_271, 1e-9);
    assert_close("variance", standard.variance(), 4.670_774_270, 1e-9);
    assert_close("median", standard.median(), 1.0, 0.0);
}
