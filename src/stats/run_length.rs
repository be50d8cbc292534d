//! Average run lengths of CUSUM and EWMA on independent unit-normal observations with a constant shift, and
//! the limits that give a wanted run length.
//!
//! The run length from a starting value solves a Fredholm equation of the second kind (Page 1954 for the
//! CUSUM, Crowder 1987 for the EWMA), solved here by Nyström's method on Gauss–Legendre nodes. Results agree
//! with the R package `spc` to four decimals. *One-sided* and *two-sided* differ by a factor of two in
//! control: tables mix them.

use super::linear::solve;
use super::normal;
use super::quadrature::gauss_legendre;

/// Average number of observations until a one-sided CUSUM with reference value `reference` and decision limit
/// `limit` signals, starting from `start`, when the mean is `shift` (all in standard deviations).
pub fn cusum_one_sided(reference: f64, limit: f64, shift: f64, start: f64) -> f64 {
    cusum_from(reference, limit, shift, &[start])[0]
}

/// Average run length of the two-sided CUSUM whose both arms start at `start` (0, or the head start of a fast
/// initial response), when the mean is `shift`.
///
/// The arms combine as in Lucas & Crosier (1982), which for `start = 0` is 1/L = 1/L⁺ + 1/L⁻.
pub fn cusum_two_sided(reference: f64, limit: f64, shift: f64, start: f64) -> f64 {
    let up = cusum_from(reference, limit, shift, &[0.0, start]);
    let down = cusum_from(reference, limit, -shift, &[0.0, start]);
    (up[1] * down[0] + up[0] * down[1] - up[0] * down[0]) / (up[0] + down[0])
}

/// Run lengths from each of `starts`. With L the run length from s, d = shift − reference, φ and Φ the normal
/// density and distribution: L(s) = 1 + L(0) Φ(−s − d) + ∫₀ʰ L(y) φ(y − s − d) dy.
fn cusum_from(reference: f64, limit: f64, shift: f64, starts: &[f64]) -> Vec<f64> {
    let unusable = || vec![f64::NAN; starts.len()];
    if !(limit > 0.0 && limit <= MAX_KERNEL_WIDTHS && reference.is_finite() && shift.is_finite()) {
        return unusable();
    }
    let drift = shift - reference;
    let nodes = gauss_legendre(nodes_for(limit), 0.0, limit);
    let row = |s: f64| -> Vec<f64> {
        std::iter::once(normal::cumulative(-s - drift))
            .chain(nodes.iter().map(|n| n.weight * normal::density(n.at - s - drift)))
            .collect()
    };
    let from: Vec<f64> = std::iter::once(0.0).chain(nodes.iter().map(|n| n.at)).collect();
    let Some(lengths) = solve_second_kind(&from, row) else { return unusable() };
    starts
        .iter()
        .map(|&s| 1.0 + row(s).iter().zip(&lengths).map(|(kernel, length)| kernel * length).sum::<f64>())
        .collect()
}

/// Average number of observations until a two-sided EWMA with weight `weight` and fixed limits at `width`
/// asymptotic standard deviations signals, starting on target, when the mean is `shift` standard deviations
/// off.
pub fn ewma_two_sided(weight: f64, width: f64, shift: f64) -> f64 {
    let limit = width * (weight / (2.0 - weight)).sqrt();
    let kernel_widths = 2.0 * limit / weight;
    if !(weight > 0.0
        && weight <= 1.0
        && width > 0.0
        && kernel_widths <= MAX_KERNEL_WIDTHS
        && shift.is_finite())
    {
        return f64::NAN;
    }
    let nodes = gauss_legendre(nodes_for(kernel_widths), -limit, limit);
    let row = |z: f64| -> Vec<f64> {
        let kernel = |to: f64| normal::density((to - (1.0 - weight) * z) / weight - shift) / weight;
        nodes.iter().map(|n| n.weight * kernel(n.at)).collect()
    };
    let from: Vec<f64> = nodes.iter().map(|n| n.at).collect();
    solve_second_kind(&from, row).map_or(f64::NAN, |lengths| {
        1.0 + row(0.0).iter().zip(&lengths).map(|(kernel, length)| kernel * length).sum::<f64>()
    })
}

/// The decision limit at which a two-sided CUSUM with this reference value runs `arl` observations on average
/// before a false signal; `NaN` when no limit does (even a limit of nothing runs longer, or the limit would
/// be beyond 60).
pub fn cusum_limit(reference: f64, arl: f64) -> f64 {
    limit_for(arl, 3.0, |limit| cusum_two_sided(reference, limit, 0.0, 0.0))
}

/// The limit width, in asymptotic standard deviations, at which a two-sided EWMA with this weight runs `arl`
/// observations on average before a false signal; `NaN` when no width does.
pub fn ewma_width(weight: f64, arl: f64) -> f64 {
    limit_for(arl, 2.0, |width| ewma_two_sided(weight, width, 0.0))
}

/// Secant steps on the logarithm of the run length, which is close to linear in the limit.
pub(super) fn limit_for(arl: f64, start: f64, run_length: impl Fn(f64) -> f64) -> f64 {
    let excess = |limit: f64| (run_length(limit) / arl).ln();
    let (mut before, mut limit) = (start, 1.25 * start);
    let (mut excess_before, mut excess_now) = (excess(before), excess(limit));
    for _ in 0..40 {
        if excess_now.abs() < 1e-8 {
            return limit;
        }
        if !excess_now.is_finite() {
            break;
        }
        let secant = limit - excess_now * (limit - before) / (excess_now - excess_before);
        (before, excess_before) = (limit, excess_now);
        limit = secant.clamp(0.5 * limit, 2.0 * limit);
        excess_now = excess(limit);
    }
    f64::NAN
}

/// The longest interval solved for, in standard deviations of one observation; keeps the linear system small.
const MAX_KERNEL_WIDTHS: f64 = 60.0;

/// Six nodes to a standard deviation resolve the normal kernel to more digits than any table gives.
fn nodes_for(kernel_widths: f64) -> usize {
    24 + (6.0 * kernel_widths).ceil() as usize
}

/// Solves L = 1 + K L at the points `from`, where `row(s)` is the discretised kernel seen from `s`.
fn solve_second_kind(from: &[f64], row: impl Fn(f64) -> Vec<f64>) -> Option<Vec<f64>> {
    let matrix = from
        .iter()
        .enumerate()
        .map(|(i, &s)| row(s).iter().enumerate().map(|(j, k)| f64::from(u8::from(i == j)) - k).collect())
        .collect();
    solve(matrix, vec![1.0; from.len()])
}
