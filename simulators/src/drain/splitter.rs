//! A two-way splitter: how the water in a fitting divides between its two sides.
//!
//! Each side is a weir whose crest stands half the fitting's tilt below or above the middle; a side passes
//! `C w (h ± d)^1.5`, with w its design share, h the head over the middle and d half the difference of the crests
//! (the weir formula; weir-like division in splitters is common practice, no published source). So ln(a/b) grows with
//! d/h: a splitter off level matters most at low flow, as field studies found (Water Sci. Technol. 58(2):459, 2008),
//! and a full fitting splits as designed.

/// Flow and head to which the weir is fitted: a shower's 8 L/min stands about 10 mm deep in the fitting, its depth in
/// the pipe by Manning's formula.
const REFERENCE: (f64, f64) = (8.0, 10.0);

/// The least part that splashes to the upper side.
const SPLASH: f64 = 0.005;

/// A splitter as installed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Splitter {
    /// Design shares of the two sides.
    pub split: [f64; 2],
    /// Half the height by which side a's crest lies below side b's (mm).
    pub offset_mm: f64,
    /// Bias of ln(a/b) from how the fitting was made and from what has settled in it.
    pub bias: f64,
}

impl Splitter {
    /// The part of a flow (L/min) that goes to side a.
    pub fn share_a(&self, l_min: f64) -> f64 {
        let [a, b] = self.split;
        let head = self.head_mm(l_min.max(1e-3));
        let over = |width: f64, head: f64| width * head.max(0.0).powf(1.5);
        let (qa, qb) = (over(a, head + self.offset_mm), over(b, head - self.offset_mm));
        let level = (qa / (qa + qb)).clamp(SPLASH, 1.0 - SPLASH);
        let odds = level / (1.0 - level) * self.bias.exp();
        odds / (1.0 + odds)
    }

    /// The offset (mm) at which side a gets `share_a` of a flow, bias apart.
    pub fn offset_for(split: [f64; 2], share_a: f64, l_min: f64) -> f64 {
        let odds = share_a / (1.0 - share_a) * split[1] / split[0];
        // With κ = d/h: ((1 + κ) / (1 - κ))^1.5 = odds, and the two sides together pass the flow.
        let heads = odds.powf(2.0 / 3.0);
        let kappa = (heads - 1.0) / (heads + 1.0);
        let passed = split[0] * (1.0 + kappa).powf(1.5) + split[1] * (1.0 - kappa).powf(1.5);
        kappa * (l_min / (weir() * passed)).powf(2.0 / 3.0)
    }

    /// Head over the middle of the crests (mm), by Newton's method on a convex rising function from above.
    fn head_mm(&self, l_min: f64) -> f64 {
        let [a, b] = self.split;
        let d = self.offset_mm;
        let q = l_min / weir();
        let mut head = q.powf(2.0 / 3.0) + d.abs() + (q / a.min(b)).powf(2.0 / 3.0);
        for _ in 0..40 {
            let (ra, rb) = ((head + d).max(0.0).sqrt(), (head - d).max(0.0).sqrt());
            let excess = a * ra.powi(3) + b * rb.powi(3) - q;
            let slope = 1.5 * (a * ra + b * rb);
            if slope <= 0.0 || excess <= 1e-9 * q {
                break;
            }
            head -= excess / slope;
        }
        head
    }
}

/// The weir's constant (L/min for a head of 1 mm).
fn weir() -> f64 {
    REFERENCE.0 / REFERENCE.1.powf(1.5)
}
