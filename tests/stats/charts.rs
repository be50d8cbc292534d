//! The streaming charts against the worked examples of the NIST/SEMATECH e-Handbook of Statistical Methods.

use basinward::stats::cusum::{self, Cusum, Direction};
use basinward::stats::ewma::{self, Ewma};

use crate::assert_close;

/// Section 6.3.2.3: target 325, k = 0.3175, h = 4.1959, first signal at group 14. The twenty group means are
/// from memory; the sums follow from them.
#[test]
fn tabular_cusum_of_the_nist_handbook() {
    let groups = [
        (324.925, 0.0, 0.0),
        (324.675, 0.0, 0.0075),
        (324.725, 0.0, 0.0),
        (324.35, 0.0, 0.3325),
        (325.35, 0.0325, 0.0),
        (325.225, 0.0, 0.0),
        (324.125, 0.0, 0.5575),
        (324.525, 0.0, 0.7150),
        (325.225, 0.0, 0.1725),
        (324.6, 0.0, 0.2550),
        (324.625, 0.0, 0.3125),
        (325.15, 0.0, 0.0),
        (328.325, 3.0075, 0.0),
        (327.25, 4.9400, 0.0),
        (327.825, 7.4475, 0.0),
        (328.5, 10.63, 0.0),
        (326.675, 11.9875, 0.0),
        (327.775, 14.445, 0.0),
        (326.875, 16.0025, 0.0),
        (328.35, 19.035, 0.0),
    ];
    let mut chart = Cusum::new(cusum::Design { reference: 0.3175, limit: 4.1959, head_start: 0.0 });
    let mut first_signal = None;
    for (group, (mean, up, down)) in (1_u32..).zip(groups) {
        let signal = chart.observe(f64::from(group), mean - 325.0);
        assert_close(&format!("upper sum of group {group}"), chart.sums().0, up, 1e-9);
        assert_close(&format!("lower sum of group {group}"), chart.sums().1, down, 1e-9);
        first_signal = first_signal.or(signal.map(|s| (group, s)));
    }
    let (group, signal) = first_signal.expect("the example goes out of control");
    assert_eq!((group, signal.direction, signal.observations), (14, Direction::Up, 2));
    assert_close("onset", signal.onset, 13.0, 0.0);
}

/// Section 6.3.2.4: λ = 0.3, start 50, s = 2.0539, limits 52.5884 and 47.4115, none out.
#[test]
fn ewma_of_the_nist_handbook() {
    let data = [
        (52.0, 50.60),
        (47.0, 49.52),
        (53.0, 50.56),
        (49.3, 50.18),
        (50.1, 50.16),
        (47.0, 49.21),
        (51.0, 49.75),
        (50.1, 49.85),
        (51.2, 50.26),
        (50.5, 50.33),
        (49.6, 50.11),
        (47.6, 49.36),
        (49.9, 49.52),
        (51.3, 50.05),
        (47.8, 49.38),
        (51.2, 49.92),
        (52.6, 50.73),
        (52.4, 51.23),
        (53.6, 51.94),
        (52.1, 51.99),
    ];
    let (start, deviation) = (50.0, 2.0539);
    let mut chart = Ewma::new(ewma::Design { weight: 0.3, width: 3.0 });
    for (value, published) in data {
        assert_eq!(chart.observe((value - start) / deviation), None);
        assert_close("average", start + deviation * chart.average(), published, 0.0051);
    }
    assert_close("upper limit", start + deviation * chart.limit(), 52.5884, 1e-4);
    assert_close("lower limit", start - deviation * chart.limit(), 47.4115, 1e-4);
}
