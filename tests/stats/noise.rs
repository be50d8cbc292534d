//! Seeded normal noise, so that a simulated test gives the same result everywhere.

use basinward::stats::normal;

/// `SplitMix64` (Steele, Lea & Flood 2014).
pub(crate) struct Noise(u64);

impl Noise {
    pub(crate) fn seeded(seed: u64) -> Self {
        Self(seed)
    }

    /// Uniform strictly between 0 and 1.
    pub(crate) fn uniform(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64 + f64::EPSILON / 4.0
    }

    /// Unit normal.
    pub(crate) fn normal(&mut self) -> f64 {
        normal::quantile(self.uniform())
    }
}
