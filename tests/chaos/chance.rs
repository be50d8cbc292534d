//! Chance that can be had again: everything in a run follows from one seed.

/// `SplitMix64` (Steele, Lea & Flood 2014, <https://doi.org/10.1145/2660193.2660195>).
#[derive(Clone)]
pub(crate) struct Chance(u64);

impl Chance {
    pub(crate) fn new(seed: u64) -> Self {
        Self(seed)
    }

    /// Another source, so that what one part of the world draws does not shift what another does.
    pub(crate) fn apart(&mut self) -> Self {
        Self(self.next())
    }

    pub(crate) fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// From 0 up to 1.
    pub(crate) fn unit(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// True so often.
    pub(crate) fn happens(&mut self, often: f64) -> bool {
        self.unit() < often
    }

    pub(crate) fn between(&mut self, low: i64, high: i64) -> i64 {
        low + (self.next() % (high - low + 1).unsigned_abs()) as i64
    }

    pub(crate) fn below(&mut self, count: usize) -> usize {
        (self.next() % count as u64) as usize
    }
}
