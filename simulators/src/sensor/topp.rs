//! Water content and permittivity: Topp, Davis and Annan (1980), Water Resources Research 16(3), equation 7.

/// Water content (m³/m³) at a relative permittivity.
fn water_content(permittivity: f64) -> f64 {
    -5.3e-2 + permittivity * (2.92e-2 + permittivity * (-5.5e-4 + permittivity * 4.3e-6))
}

/// Relative permittivity at a water content (m³/m³): the equation turned round by bisection, as it rises throughout.
pub(super) fn permittivity(content: f64) -> f64 {
    let (mut low, mut high) = (1.0, 100.0);
    for _ in 0..60 {
        let middle = f64::midpoint(low, high);
        if water_content(middle) < content {
            low = middle;
        } else {
            high = middle;
        }
    }
    f64::midpoint(low, high)
}

#[cfg(test)]
mod tests {
    use super::permittivity;

    /// Topp, Davis and Annan (1980), equation 8, fitted by the authors to the same data the other way round:
    /// K = 3.03 + 9.3 θ + 146 θ² − 76.7 θ³ (from memory).
    #[test]
    fn turning_the_equation_round_agrees_with_the_authors_inverse_fit() {
        for content in [0.05_f64, 0.1, 0.2, 0.3, 0.4, 0.5] {
            let fit = 3.03 + content * (9.3 + content * (146.0 - content * 76.7));
            let turned = permittivity(content);
            assert!((turned - fit).abs() < 0.06 * fit, "{content}: {turned} against {fit}");
        }
    }
}
