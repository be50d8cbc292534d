//! Mann–Kendall and Theil–Sen against published examples and independent libraries.

use basinward::stats::trend::{Censoring, MannKendall, Observation, Slope, mann_kendall, theil_sen};

use crate::assert_close;
use crate::noise::Noise;

fn series(values: &[f64]) -> Vec<Observation> {
    values.iter().enumerate().map(|(i, &value)| Observation::exact(i as f64, value)).collect()
}

fn test_of(observations: &[Observation]) -> MannKendall {
    mann_kendall(observations).expect("the series has ordered pairs")
}

fn slope_of(observations: &[Observation]) -> Slope {
    theil_sen(observations, 0.95).expect("the series bounds a slope")
}

/// Hollander & Wolfe (1973), p. 187, the tuna example of R's `cor.test`: 26 concordant pairs of 36, one-sided
/// exact p = 0.05972. Normal approximation and slope as scipy 1.17.1 gives them.
#[test]
fn the_example_of_hollander_and_wolfe() {
    let lightness = [44.4, 45.9, 41.9, 53.3, 44.7, 44.1, 50.7, 45.2, 60.1];
    let panel_score = [2.6, 3.1, 2.5, 5.0, 3.6, 4.0, 5.2, 2.8, 3.8];
    let observations: Vec<_> =
        lightness.into_iter().zip(panel_score).map(|(x, y)| Observation::exact(x, y)).collect();
    let test = test_of(&observations);
    assert_close("S", test.s, 16.0, 0.0);
    assert_close("variance", test.variance, 92.0, 1e-9);
    assert_close("z", test.z, 1.563_858_1, 1e-7);
    assert_close("one-sided p", test.p_rising, 0.059_719_47, 1e-8);
    assert_close("two-sided p", test.p_two_sided, 0.119_438_9, 1e-7);
    assert_close("slope", slope_of(&observations).slope, 0.129_347_83, 1e-8);
}

/// A series with a tie and an outlier; own code, scipy 1.17.1 and pymannkendall 1.4.3 agree. The outlier
/// pulls the ordinary least-squares slope to −0.340.
#[test]
fn a_tie_and_an_outlier_as_in_scipy_and_pymannkendall() {
    let observations = series(&[31.2, 30.1, 30.6, 28.9, 29.4, 28.9, 27.5, 26.8, 41.0, 25.9, 24.7, 25.1]);
    let test = test_of(&observations);
    assert_close("S", test.s, -43.0, 0.0);
    assert_close("variance", test.variance, 211.666_666_7, 1e-7);
    assert_close("z", test.z, -2.886_842_3, 1e-7);
    assert_close("two-sided p", test.p_two_sided, 0.003_891_292_6, 1e-10);
    let slope = slope_of(&observations);
    assert_close("slope", slope.slope, -0.577_777_777_8, 1e-10);
    assert_close("low", slope.interval.low, -0.70, 1e-9);
    assert_close("high", slope.interval.high, -0.45, 1e-9);
    // Sen (1968) takes the median of the residuals; scipy takes median(y) − slope × median(t) = 32.08.
    assert_close("intercept", slope.intercept, 31.15, 1e-9);
}

/// 1 to 10; scipy and pymannkendall: S 45, variance 125, z 3.9354796, normal p 8.303e-5. The exact p is
/// 2/10!.
#[test]
fn a_strictly_rising_series() {
    let test = test_of(&series(&[1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 9.0, 10.0]));
    assert_close("S", test.s, 45.0, 0.0);
    assert_close("variance", test.variance, 125.0, 1e-9);
    assert_close("z", test.z, 3.935_479_640_4, 1e-9);
    assert_close("exact p", test.p_two_sided * 3_628_800.0, 2.0, 1e-6);
}

/// The permutation variance that allows for censoring is the tie-corrected variance of Mann–Kendall (Kendall
/// 1975), Σ over groups of t(t−1)(2t+5), where nothing is censored.
#[test]
fn without_censoring_the_variance_is_the_tie_corrected_one() {
    let observations = series(&[3.0, 1.0, 1.0, 2.0, 3.0, 3.0, 5.0, 5.0, 4.0, 3.0, 8.0]);
    let term = |t: f64| t * (t - 1.0) * (2.0 * t + 5.0);
    let expected = (term(11.0) - term(2.0) - term(4.0) - term(2.0)) / 18.0;
    assert_close("variance", test_of(&observations).variance, expected, 1e-9);
}

/// Gehan's (1965) generalisation, by enumeration: the variance of S over all pairings of times with censored
/// values.
#[test]
fn with_censoring_the_variance_is_that_over_all_orders() {
    let values = [
        (4.0, Censoring::AtLeast),
        (2.0, Censoring::Exact),
        (3.0, Censoring::AtMost),
        (5.0, Censoring::Exact),
        (3.0, Censoring::AtLeast),
        (1.0, Censoring::Exact),
    ];
    let stated = |order: &[usize]| {
        let at = |(i, &k): (usize, &usize)| {
            let (value, censoring) = values[k];
            Observation { at: i as f64, value, censoring }
        };
        test_of(&order.iter().enumerate().map(at).collect::<Vec<_>>())
    };
    let mut all = Vec::new();
    permutations(&mut [0, 1, 2, 3, 4, 5], 0, &mut |order| all.push(stated(order)));
    let mean_square = all.iter().map(|test| test.s * test.s).sum::<f64>() / all.len() as f64;
    assert_eq!(all.len(), 720);
    assert_close("variance", all[0].variance, mean_square, 1e-9);
}

fn permutations(items: &mut [usize], fixed: usize, visit: &mut impl FnMut(&[usize])) {
    if fixed == items.len() {
        visit(items);
        return;
    }
    for i in fixed..items.len() {
        items.swap(fixed, i);
        permutations(items, fixed + 1, visit);
        items.swap(fixed, i);
    }
}

/// Simulation: a true slope of 0.05 a step in noise of 1, values above 3 known only as bounds. Dropping the
/// bounds would hide the rise; the censored estimate stays unbiased and its interval holds.
#[test]
fn a_ceiling_on_the_values_does_not_flatten_the_slope() {
    let mut noise = Noise::seeded(11);
    let (mut slopes, mut held, mut flattened) = (Vec::new(), 0, Vec::new());
    let runs = 200;
    for _ in 0..runs {
        let observations: Vec<_> = (0..60)
            .map(|i| {
                let truth = 1.0 + 0.05 * f64::from(i) + noise.normal();
                let censoring = if truth > 3.0 { Censoring::AtLeast } else { Censoring::Exact };
                Observation { at: f64::from(i), value: truth.min(3.0), censoring }
            })
            .collect();
        let slope = theil_sen(&observations, 0.9).expect("half the values are exact");
        held += i32::from(slope.interval.contains(0.05));
        slopes.push(slope.slope);
        let exact: Vec<_> = observations.into_iter().filter(|o| o.censoring == Censoring::Exact).collect();
        flattened.push(theil_sen(&exact, 0.9).expect("half the values are exact").slope);
    }
    let mean = |values: &[f64]| values.iter().sum::<f64>() / values.len() as f64;
    assert_close("mean slope", mean(&slopes), 0.05, 0.003);
    assert!(mean(&flattened) < 0.04, "exact values alone: {}", mean(&flattened));
    assert_close("coverage", f64::from(held) / f64::from(runs), 0.9, 0.05);
}
