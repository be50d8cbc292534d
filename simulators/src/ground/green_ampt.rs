//! Infiltration from a ponded floor: Green and Ampt (1911), with a resistance in series at the surface.
//!
//! A sharp front at depth z divides saturated soil from soil at its old water content, Δθ drier. Darcy's law from
//! the pond (head h) to the front (suction ψ) through soil of conductivity K below a thin layer of resistance R
//! (Hillel and Gardner 1970) gives the rate f = K (z + ψ + h) / (z + K R). With G = Δθ z, S = Δθ (ψ + h) and
//! C = Δθ K R the rate integrates to
//!
//! ```text
//! G₂ - G₁ + (C - S) ln((G₂ + S) / (G₁ + S)) = K t
//! ```
//!
//! which without a resistance is the form of Chow, Maidment and Mays (1988), equation 4.3.6.

/// The parameters of one infiltration problem.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GreenAmpt {
    /// Conductivity of the wetted soil, K (mm/h).
    pub conductivity_mm_h: f64,
    /// Suction at the front, ψ (mm).
    pub suction_mm: f64,
    /// Resistance of the surface, R (h).
    pub resistance_h: f64,
}

impl GreenAmpt {
    /// Rate (mm/h) when the front stands at `front_mm` under a head of `head_mm`. Without resistance it is infinite
    /// at the first moment.
    pub fn rate_mm_h(&self, front_mm: f64, head_mm: f64) -> f64 {
        let k = self.conductivity_mm_h;
        k * (front_mm + self.suction_mm + head_mm) / (front_mm + k * self.resistance_h)
    }

    /// Water (mm) that enters in `hours` under a steady head, into soil that lacks `deficit` (m³/m³) of saturation,
    /// when the front starts at `front_mm`.
    pub fn infiltrated_mm(&self, front_mm: f64, deficit: f64, head_mm: f64, hours: f64) -> f64 {
        let kt = self.conductivity_mm_h * hours;
        let g1 = deficit * front_mm;
        let s = deficit * (self.suction_mm + head_mm);
        let c = deficit * self.conductivity_mm_h * self.resistance_h;
        if s <= 0.0 {
            return kt;
        }
        // The rate falls monotonically if C < S and rises if C > S. A step at the starting rate therefore lies above
        // the root of a convex function or below that of a concave one, and Newton's method from there never
        // overshoots. The bound from early times (F² ≤ 2 K t (S + F)) serves where the starting rate is infinite.
        let early = kt + (kt * (kt + 2.0 * s)).sqrt();
        let step = if g1 + c > 0.0 { kt * (g1 + s) / (g1 + c) } else { f64::INFINITY };
        let mut taken = if c < s { step.min(early) } else { step };
        for _ in 0..30 {
            let g2 = g1 + taken;
            let excess = taken + (c - s) * (taken / (g1 + s)).ln_1p() - kt;
            let change = excess * (g2 + s) / (g2 + c);
            taken -= change;
            if change.abs() <= 1e-10 * (taken + 1e-6) {
                break;
            }
        }
        taken.max(0.0)
    }

    /// Time (h) that `water_mm` takes to enter, under the conditions of [`infiltrated_mm`](Self::infiltrated_mm).
    pub fn hours_for(&self, front_mm: f64, deficit: f64, head_mm: f64, water_mm: f64) -> f64 {
        let g1 = deficit * front_mm;
        let s = deficit * (self.suction_mm + head_mm);
        let c = deficit * self.conductivity_mm_h * self.resistance_h;
        let log = if s > 0.0 { (c - s) * (water_mm / (g1 + s)).ln_1p() } else { 0.0 };
        (water_mm + log) / self.conductivity_mm_h
    }

    /// Time (h) until steady rain of `rain_mm_h` begins to stand on soil that lacks `deficit` (Chow, Maidment and
    /// Mays 1988, table 4.4.1); `None` if it never does. Without resistance.
    pub fn ponding_time_h(&self, deficit: f64, rain_mm_h: f64) -> Option<f64> {
        let k = self.conductivity_mm_h;
        (rain_mm_h > k).then(|| k * self.suction_mm * deficit / (rain_mm_h * (rain_mm_h - k)))
    }
}
