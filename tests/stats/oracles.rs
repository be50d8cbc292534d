//! The mathematics against independent libraries, on the values that tests/oracles/stats.py computed with
//! them.
//!
//! tests/oracles/run computes them again and fails on a difference.

use basinward::stats::glr::{self, Glr};
use basinward::stats::infiltration::GreenAmpt;
use basinward::stats::interval::LogNormal;
use basinward::stats::logratio::isometric;
use basinward::stats::recession::Recession;
use basinward::stats::robust::{median, median_and_deviation};
use basinward::stats::run_length::{cusum_one_sided, ewma_two_sided};
use basinward::stats::trend::{Observation, mann_kendall, theil_sen};
use basinward::stats::{normal, student};
use serde_json::Value;

use crate::assert_close;

/// The cases of one quantity.
fn cases(quantity: &str) -> Vec<Value> {
    let file: Value = serde_json::from_str(include_str!("../oracles/stats.json")).expect("the file is JSON");
    let cases = file[quantity]["cases"].as_array().cloned().unwrap_or_default();
    assert!(!cases.is_empty(), "no cases of {quantity}");
    cases
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value} is not a number"))
}

fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().unwrap_or_else(|| panic!("{value} is not a list")).iter().map(number).collect()
}

#[test]
fn trends_agree_with_scipy_and_pymannkendall() {
    for case in cases("trends") {
        let observations: Vec<_> = (0_u32..)
            .zip(numbers(&case["values"]))
            .map(|(i, value)| Observation::exact(i.into(), value))
            .collect();
        let test = mann_kendall(&observations).expect("ordered pairs");
        assert_close("S", test.s, number(&case["s"]), 0.0);
        assert_close("variance", test.variance, number(&case["variance"]), 1e-6);
        assert_close("z", test.z, number(&case["z"]), 1e-9);
        if case["p_exact"].is_null() {
            assert_close("normal p", test.p_two_sided, number(&case["p_normal"]), 1e-9);
        } else {
            assert_close("exact p", test.p_two_sided, number(&case["p_exact"]), 1e-9);
        }
        let fit = theil_sen(&observations, 0.95).expect("bounded");
        assert_close("slope", fit.slope, number(&case["slope"]), 1e-12);
        // scipy rounds the rank of each end, the program inverts the test: at most one pairwise slope apart.
        let strictly_between = |a: f64, b: f64| {
            pairwise_slopes(&observations)
                .filter(|slope| a.min(b) + 1e-9 < *slope && *slope < a.max(b) - 1e-9)
                .count()
        };
        assert_eq!(strictly_between(fit.interval.low, number(&case["low"])), 0);
        assert_eq!(strictly_between(fit.interval.high, number(&case["high"])), 0);
    }
}

fn pairwise_slopes(observations: &[Observation]) -> impl Iterator<Item = f64> {
    observations
        .iter()
        .enumerate()
        .flat_map(|(i, a)| observations[i + 1..].iter().map(move |b| (b.value - a.value) / (b.at - a.at)))
}

#[test]
fn balances_agree_with_composition_stats() {
    for case in cases("balances") {
        let x = numbers(&case["parts"]);
        let groups: [(&[f64], &[f64]); 7] = [
            (&x[..4], &x[4..]),
            (&x[..2], &x[2..4]),
            (&x[4..6], &x[6..]),
            (&x[..1], &x[1..2]),
            (&x[2..3], &x[3..4]),
            (&x[4..5], &x[5..6]),
            (&x[6..7], &x[7..]),
        ];
        for ((left, right), expected) in groups.into_iter().zip(numbers(&case["balances"])) {
            assert_close("balance", isometric(left, right, 1e-12), expected, 1e-12);
        }
    }
}

#[test]
fn quantiles_agree_with_scipy() {
    let log_normal = LogNormal { log_mean: 3.0_f64.ln(), log_variance: 0.16 };
    for case in cases("quantiles") {
        let p = number(&case["p"]);
        assert_close("normal", normal::quantile(p), number(&case["normal"]), 1e-12);
        assert_close("log-normal", log_normal.quantile(p) / number(&case["log_normal"]), 1.0, 1e-12);
        for pair in case["student"].as_array().expect("pairs") {
            let (freedom, expected) = (number(&pair[0]), number(&pair[1]));
            let actual = student::quantile(p, freedom);
            assert_close(
                &format!("t, {freedom} degrees, p {p}"),
                actual,
                expected,
                1e-9 * expected.abs().max(1.0),
            );
        }
    }
}

#[test]
fn run_lengths_agree_with_markov_chains() {
    for case in cases("run_lengths") {
        let (actual, expected) = if case["cusum"].is_null() {
            let design = numbers(&case["ewma"]);
            (ewma_two_sided(design[0], design[1], design[2]), number(&case["two_sided"]))
        } else {
            let design = numbers(&case["cusum"]);
            (cusum_one_sided(design[0], design[1], design[2], 0.0), number(&case["one_sided"]))
        };
        assert_close(&case.to_string(), actual / expected, 1.0, 1e-5);
    }
}

#[test]
fn infiltration_agrees_with_integration_by_scipy() {
    for case in cases("infiltrations") {
        let soil = numbers(&case["soil"]);
        let soil = GreenAmpt { conductivity: soil[0], suction: soil[1], deficit: soil[2] };
        let dry = number(&case["time_to_dry"]);
        assert_close("time to dry", soil.time_to_dry(number(&case["head"])) / dry, 1.0, 1e-8);
        assert_close("under a sheet", soil.infiltrated(1.0) / number(&case["sheet_1h"]), 1.0, 1e-8);
    }
}

/// The program fits averages in growing bins, `curve_fit` the samples themselves: within a fraction of the
/// deviation.
#[test]
fn recessions_agree_with_curve_fit() {
    for case in cases("recessions") {
        let step = number(&case["step"]);
        let mut recession = Recession::new();
        for (i, value) in (0_u32..).zip(numbers(&case["values"])) {
            recession.observe(step * f64::from(i), value);
        }
        let fit = recession.fit().expect("enough samples");
        let deviation = number(&case["log_deviation"]);
        let log_ratio = (fit.time_constant / number(&case["time_constant"])).ln();
        assert_close("ln τ in deviations", log_ratio / deviation, 0.0, 0.4);
        assert_close("asymptote", fit.asymptote, number(&case["asymptote"]), 0.000_5);
        assert_close("amplitude", fit.amplitude, number(&case["amplitude"]), 0.001);
        assert_close("deviation", fit.log_time_constant_deviation / deviation, 1.0, 0.35);
    }
}

#[test]
fn medians_agree_with_scipy() {
    for case in cases("deviations") {
        let mut values = numbers(&case["values"]);
        assert_close("median", median(&mut values.clone()), number(&case["median"]), 1e-12);
        assert_close("deviation", median_and_deviation(&mut values).1, number(&case["deviation"]), 1e-12);
    }
}

/// With the level before the change known, the likelihood puts a clear change where the best split of the
/// whole is.
#[test]
fn onsets_agree_with_ruptures() {
    for case in cases("changes") {
        let mut glr = Glr::new(glr::Design { candidates: 128, span: f64::INFINITY, least_observations: 1 });
        for (i, value) in (0_u32..).zip(numbers(&case["values"])) {
            glr.observe(i.into(), value, 1.0);
        }
        assert_close("onset", glr.step(0.0).expect("fed").onset, number(&case["split"]), 0.0);
    }
}
