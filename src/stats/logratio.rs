//! Log ratios over a binary partition: how two groups of parts stand to each other, whatever their total.
//!
//! Two kinds. The *amalgamated* ratio ln(Σ left / Σ right) moves only when the two groups exchange quantity,
//! so it puts the blame on one branching. The *isometric* balance of Egozcue & Pawlowsky-Glahn (2005) uses
//! geometric means; it is the standard of compositional data analysis, but it also moves when parts shift
//! within a group.

use super::bayes;
use super::interval::Estimate;

/// ln(left / right) of two independent totals, with its variance by the delta method: v/l² + v′/r².
///
/// A total below `floor` (above 0) is taken as `floor`, so that nothing at all gives a large finite ratio.
/// The floor should be what the measurement can just resolve; its variance then says how little such a ratio
/// is worth.
pub fn amalgamated(left: Estimate, right: Estimate, floor: f64) -> Estimate {
    let (l, r) = (left.value.max(floor), right.value.max(floor));
    Estimate { value: (l / r).ln(), variance: left.variance / (l * l) + right.variance / (r * r) }
}

/// The left group's fraction of the two, from their log ratio; the variance by the delta method.
pub fn fraction(log_ratio: Estimate) -> Estimate {
    let p = bayes::logistic(log_ratio.value);
    let slope = p * (1.0 - p);
    Estimate { value: p, variance: slope * slope * log_ratio.variance }
}

/// Isometric log-ratio balance √(rs/(r+s)) ln(g(left)/g(right)), g the geometric mean of the r and s parts.
///
/// Parts below `floor` (above 0) are taken as `floor`. `NaN` when either group is empty.
pub fn isometric(left: &[f64], right: &[f64], floor: f64) -> f64 {
    let (r, s) = (left.len() as f64, right.len() as f64);
    (r * s / (r + s)).sqrt() * (mean_log(left, floor) - mean_log(right, floor))
}

fn mean_log(parts: &[f64], floor: f64) -> f64 {
    parts.iter().map(|part| part.max(floor).ln()).sum::<f64>() / parts.len() as f64
}

#[cfg(test)]
mod tests {
    use super::*;

    const EXACT: fn(f64) -> Estimate = |value| Estimate { value, variance: 0.0 };

    #[test]
    fn the_fraction_undoes_the_log_ratio() {
        let ratio = amalgamated(EXACT(3.0), EXACT(7.0), 1e-9);
        assert!((fraction(ratio).value - 0.3).abs() < 1e-12);
    }

    #[test]
    fn an_uneven_child_does_not_move_its_parent_when_sums_are_compared() {
        let left = Estimate::total([EXACT(0.35), EXACT(0.15)]);
        assert!(amalgamated(left, EXACT(0.5), 1e-9).value.abs() < 1e-12);
        assert!(isometric(&[0.35, 0.15], &[0.25, 0.25], 1e-9) < -0.08);
    }

    #[test]
    fn nothing_on_one_side_is_bounded_by_the_floor_and_worth_little() {
        let ratio = amalgamated(Estimate { value: 0.0, variance: 0.01 }, EXACT(10.0), 0.1);
        assert!((ratio.value - 0.01_f64.ln()).abs() < 1e-12);
        assert!((ratio.variance - 1.0).abs() < 1e-12);
    }
}
