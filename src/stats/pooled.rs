//! Several measurements of one quantity, combined by the inverse of their variances.

use super::interval::Estimate;

/// The combined value, and how well the measurements agree.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pooled {
    /// The weighted mean with its variance, which is widened where the measurements scatter more than they say.
    pub estimate: Estimate,
    /// How many there were.
    pub count: usize,
    /// Birge's ratio √(χ²/(n − 1)), 1 for one measurement: above 1 where they scatter more than their variances say.
    pub birge: f64,
}

/// Combines `measurements`; none where there is none with a finite value and a positive variance.
///
/// The mean is Σ(x/v) / Σ(1/v) with variance 1/Σ(1/v). Where Birge's ratio (R. T. Birge, "The calculation of errors by
/// the method of least squares", Phys. Rev. 40, 207, 1932) is above 1, the variance is multiplied by its square, so
/// that what the measurements do not know of themselves is not lost.
pub fn pooled(measurements: impl IntoIterator<Item = Estimate>) -> Option<Pooled> {
    let usable = |m: &Estimate| m.value.is_finite() && m.variance > 0.0 && m.variance.is_finite();
    let usable: Vec<Estimate> = measurements.into_iter().filter(usable).collect();
    let weight: f64 = usable.iter().map(|m| 1.0 / m.variance).sum();
    if usable.is_empty() {
        return None;
    }
    let value = usable.iter().map(|m| m.value / m.variance).sum::<f64>() / weight;
    let squares: f64 = usable.iter().map(|m| (m.value - value).powi(2) / m.variance).sum();
    let birge = if usable.len() > 1 { (squares / (usable.len() - 1) as f64).sqrt() } else { 1.0 };
    let variance = birge.max(1.0).powi(2) / weight;
    Some(Pooled { estimate: Estimate { value, variance }, count: usable.len(), birge })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(pairs: &[(f64, f64)]) -> Pooled {
        pooled(pairs.iter().map(|&(value, sigma)| Estimate { value, variance: sigma * sigma })).unwrap()
    }

    /// J. R. Taylor, "An Introduction to Error Analysis", 2nd ed. (1997), section 7.3: resistances of 11 ± 1,
    /// 12 ± 1 and 10 ± 3 ohms combine to 11.42 ± 0.69 (from memory).
    #[test]
    fn three_resistances_combine_as_in_the_textbook() {
        let Pooled { estimate, birge, .. } = of(&[(11.0, 1.0), (12.0, 1.0), (10.0, 3.0)]);
        assert!((estimate.value - 11.42).abs() < 0.005, "{estimate:?}");
        assert!((estimate.variance.sqrt() - 0.69).abs() < 0.005, "{estimate:?}");
        assert!(birge < 1.0);
    }

    #[test]
    fn what_contradicts_itself_is_less_sure_than_it_says() {
        let calm = of(&[(1.0, 0.1), (1.05, 0.1)]);
        let torn = of(&[(0.0, 0.1), (2.0, 0.1)]);
        assert!((calm.estimate.variance - 0.005).abs() < 1e-12);
        // Two equal weights: the variance becomes that of the mean of the two values themselves, (2/2)².
        assert!((torn.estimate.variance - 1.0).abs() < 1e-9 && torn.birge > 10.0, "{torn:?}");
    }

    #[test]
    fn what_says_nothing_is_left_out() {
        let odd = [f64::NAN, 1.0].map(|value| Estimate { value, variance: 0.0 });
        assert_eq!(pooled(odd), None);
        let with_one = pooled(odd.into_iter().chain([Estimate { value: 3.0, variance: 1.0 }])).unwrap();
        assert_eq!((with_one.count, with_one.estimate.value), (1, 3.0));
    }
}
