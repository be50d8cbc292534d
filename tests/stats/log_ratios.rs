//! Log ratios over a binary partition against worked examples.

use basinward::stats::interval::Estimate;
use basinward::stats::logratio::{amalgamated, fraction, isometric};

use crate::assert_close;
use crate::noise::Noise;

const FLOOR: f64 = 1e-12;

/// Balances of Egozcue & Pawlowsky-Glahn (2005), Math. Geol. 37:795, over sequential binary partitions, as
/// `composition_stats` 2.0.0 and scikit-bio 0.7.4 give them (`ilr` with the basis of the partition).
#[test]
fn balances_over_four_parts() {
    let cases = [
        ([0.25, 0.25, 0.25, 0.25], [0.0, 0.0, 0.0]),
        ([0.3, 0.3, 0.2, 0.2], [0.405_465_108, 0.0, 0.0]),
        ([0.35, 0.15, 0.25, 0.25], [-0.087_176_694, 0.599_130_063, 0.0]),
        ([0.25, 0.25, 0.48, 0.02], [0.936_701_729, 0.0, 2.247_223_414]),
        ([0.275, 0.275, 0.27, 0.18], [0.221_081_693, 0.0, 0.286_707_127]),
        ([0.1, 0.3, 0.4, 0.2], [-0.490_414_627, -0.776_836_199, 0.490_129_072]),
    ];
    for ([a, b, c, d], expected) in cases {
        let balances =
            [isometric(&[a, b], &[c, d], FLOOR), isometric(&[a], &[b], FLOOR), isometric(&[c], &[d], FLOOR)];
        for (balance, expected) in balances.into_iter().zip(expected) {
            assert_close(&format!("{a} {b} {c} {d}"), balance, expected, 1e-9);
        }
    }
}

/// The same source: three parts, one against two, where an even split is not at zero; and one uneven node
/// among eight.
#[test]
fn balances_over_unequal_and_larger_trees() {
    assert_close("1|2 even", isometric(&[0.5], &[0.25, 0.25], FLOOR), 0.565_952_303, 1e-9);
    assert_close("1|2 at 60/40", isometric(&[0.6], &[0.2, 0.2], FLOOR), 0.897_013_177, 1e-9);
    let right = [0.1625, 0.1625, 0.0875, 0.0875];
    assert_close("4|4", isometric(&[0.125; 4], &right, FLOOR), 0.066_687_721, 1e-9);
    assert_close("2|2 at 65/35", isometric(&right[..2], &right[2..], FLOOR), 0.619_039_208, 1e-9);
}

/// The delta method against simulation: totals with 5 % and 8 % error.
#[test]
fn the_variance_of_a_log_ratio_holds_in_simulation() {
    let mut noise = Noise::seeded(3);
    let estimate = |value: f64, relative: f64| Estimate { value, variance: (value * relative).powi(2) };
    let (left, right) = (estimate(12.0, 0.05), estimate(7.0, 0.08));
    let stated = amalgamated(left, right, FLOOR);
    let draws: Vec<f64> = (0..20_000)
        .map(|_| {
            let draw =
                |e: Estimate, z: f64| Estimate { value: e.value + e.variance.sqrt() * z, variance: 0.0 };
            amalgamated(draw(left, noise.normal()), draw(right, noise.normal()), FLOOR).value
        })
        .collect();
    let mean = draws.iter().sum::<f64>() / draws.len() as f64;
    let variance = draws.iter().map(|d| (d - mean).powi(2)).sum::<f64>() / draws.len() as f64;
    assert_close("variance ratio", variance / stated.variance, 1.0, 0.05);
    let share = fraction(stated);
    assert_close("fraction", share.value, 12.0 / 19.0, 1e-12);
    // Var p = (p(1−p))² (0.05² + 0.08²).
    assert_close("its variance", share.variance, (12.0_f64 * 7.0 / 361.0).powi(2) * 0.0089, 1e-12);
}
