//! Green–Ampt infiltration: a sharp wetting front driven by the water above it and the suction below.
//!
//! Equations and worked examples as in Chow, Maidment & Mays (1988), *Applied Hydrology*, sections 4.3 and
//! 4.4. Any consistent units of length and time.

/// The three parameters of the soil.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GreenAmpt {
    /// Saturated hydraulic conductivity K, length a unit of time, above 0.
    pub conductivity: f64,
    /// Suction head ψ at the wetting front, length, 0 or above.
    pub suction: f64,
    /// Moisture deficit Δθ ahead of the front, volume in volume, 0 to below 1.
    pub deficit: f64,
}

impl GreenAmpt {
    /// ψΔθ, the length that sets how much faster than K a dry soil drinks.
    fn storage_suction(&self) -> f64 {
        self.suction * self.deficit
    }

    /// Depth infiltrated after `time` under a thin sheet of water: F − ψΔθ ln(1 + F/ψΔθ) = K t.
    pub fn infiltrated(&self, time: f64) -> f64 {
        let s = self.storage_suction();
        if s <= 0.0 {
            return self.conductivity * time;
        }
        s * excess_over_log_inverse(self.conductivity * time / s)
    }

    /// Time for `depth` to infiltrate under a thin sheet of water; the inverse of [`Self::infiltrated`].
    pub fn time_to_infiltrate(&self, depth: f64) -> f64 {
        let s = self.storage_suction();
        if s <= 0.0 {
            return depth / self.conductivity;
        }
        s * excess_over_log(depth / s) / self.conductivity
    }

    /// Infiltration rate once `depth` has infiltrated: K (1 + ψΔθ/F); infinite for a depth of 0.
    pub fn rate(&self, depth: f64) -> f64 {
        self.conductivity * (1.0 + self.storage_suction() / depth)
    }

    /// Time until water stands on the surface under a steady inflow of `intensity`: K ψΔθ / (i (i − K)).
    ///
    /// `None` when the soil takes the inflow for ever.
    pub fn time_to_ponding(&self, intensity: f64) -> Option<f64> {
        let k = self.conductivity;
        (intensity > k).then(|| k * self.storage_suction() / (intensity * (intensity - k)))
    }

    /// Depth infiltrated after `time` under a steady inflow of `intensity`, before and after ponding.
    pub fn infiltrated_under(&self, intensity: f64, time: f64) -> f64 {
        match self.time_to_ponding(intensity) {
            Some(ponding) if time > ponding => {
                let already = self.time_to_infiltrate(intensity * ponding);
                self.infiltrated(already + time - ponding)
            }
            _ => intensity * time,
        }
    }

    /// Time for a dose of `head` standing at once on level ground to soak away, with nothing more coming.
    ///
    /// The head falls as the front goes down: with a = 1 − Δθ and b = Δθ (H₀ + ψ), a K t = F − (b/a) ln(1 + a
    /// F/b), and the surface is dry when F = H₀.
    pub fn time_to_dry(&self, head: f64) -> f64 {
        let (a, b) = self.falling_head_terms(head);
        if b <= 0.0 {
            return head / self.conductivity;
        }
        b * excess_over_log(a * head / b) / (a * a * self.conductivity)
    }

    /// Depth infiltrated `time` after a dose of `head` stood on the ground; `head` once it is dry.
    pub fn infiltrated_of_dose(&self, head: f64, time: f64) -> f64 {
        let (a, b) = self.falling_head_terms(head);
        if b <= 0.0 {
            return (self.conductivity * time).min(head);
        }
        (b / a * excess_over_log_inverse(a * a * self.conductivity * time / b)).min(head)
    }

    /// The conductivity with which a dose of `head` soaks away in `time`, suction and deficit being as here.
    pub fn conductivity_for(&self, head: f64, time: f64) -> f64 {
        // Time and conductivity appear only as their product.
        self.conductivity * self.time_to_dry(head) / time
    }

    fn falling_head_terms(&self, head: f64) -> (f64, f64) {
        (1.0 - self.deficit, self.deficit * (head + self.suction))
    }
}

/// x − ln(1 + x) for x ≥ 0, without the cancellation near 0.
fn excess_over_log(x: f64) -> f64 {
    if x > 0.02 {
        return x - x.ln_1p();
    }
    // Terms up to x⁸/8 leave a relative error below 1e-12 at x = 0.02.
    x * x * (0.5 - x * (1.0 / 3.0 - x * (0.25 - x * (0.2 - x * (1.0 / 6.0 - x * (1.0 / 7.0 - x * 0.125))))))
}

/// The x ≥ 0 with x − ln(1 + x) = y, by Newton's method.
///
/// The start y + √(2y) is never below the root and the function is convex, so the steps fall towards the
/// root.
fn excess_over_log_inverse(y: f64) -> f64 {
    if y <= 0.0 {
        return 0.0;
    }
    let mut x = y + (2.0 * y).sqrt();
    for _ in 0..50 {
        let step = (excess_over_log(x) - y) * (1.0 + x) / x;
        x -= step;
        if step.abs() <= 1e-14 * x {
            break;
        }
    }
    x
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_inverse_holds_from_the_smallest_to_the_largest_depths() {
        for x in [1e-12, 1e-4, 0.019_99, 0.020_01, 1.0, 50.0, 1e6] {
            assert!((excess_over_log_inverse(excess_over_log(x)) / x - 1.0).abs() < 1e-9, "x = {x}");
        }
    }

    #[test]
    fn the_series_meets_the_logarithm_where_they_join() {
        let below = excess_over_log(0.02);
        assert!((below / (0.02 - 0.02_f64.ln_1p()) - 1.0).abs() < 1e-12);
    }

    #[test]
    fn a_saturated_soil_drinks_at_its_conductivity() {
        let soil = GreenAmpt { conductivity: 2.0, suction: 10.0, deficit: 0.0 };
        assert_eq!((soil.infiltrated(3.0), soil.time_to_infiltrate(6.0)), (6.0, 3.0));
        assert_eq!((soil.time_to_dry(6.0), soil.infiltrated_of_dose(6.0, 1.0)), (3.0, 2.0));
        assert_eq!(soil.time_to_ponding(2.0), None);
    }

    #[test]
    fn conductivity_is_recovered_from_the_time_to_dry() {
        let soil = GreenAmpt { conductivity: 1.09, suction: 11.01, deficit: 0.206 };
        let guess = GreenAmpt { conductivity: 0.3, ..soil };
        assert!((guess.conductivity_for(5.0, soil.time_to_dry(5.0)) - 1.09).abs() < 1e-12);
    }
}
