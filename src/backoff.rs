//! Pauses between attempts to connect: doubling, capped, and jittered so that daemons cut off
//! together do not return together.

use std::time::Duration;

/// The pauses of one connection.
#[derive(Debug)]
pub struct Backoff {
    first: Duration,
    longest: Duration,
    step: Duration,
    seed: u64,
}

impl Backoff {
    /// Pauses from `first` up to `longest`; daemons should differ in `seed`.
    pub fn new(first: Duration, longest: Duration, seed: u64) -> Self {
        Self { first, longest, step: first, seed }
    }

    /// The next pause: between half and the whole of the present step.
    pub fn pause(&mut self) -> Duration {
        let step = self.step.min(self.longest);
        self.step = (step * 2).min(self.longest);
        step.mul_f64(0.5 + 0.5 * self.fraction())
    }

    /// Begins with the first pause again.
    pub fn reset(&mut self) {
        self.step = self.first;
    }

    /// A number in [0, 1): SplitMix64, after Steele, Lea and Flood (OOPSLA 2014).
    fn fraction(&mut self) -> f64 {
        self.seed = self.seed.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.seed;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pauses_double_up_to_the_longest_and_stay_within_half_to_whole() {
        let mut backoff = Backoff::new(Duration::from_secs(1), Duration::from_secs(6), 7);
        for whole_s in [1.0, 2.0, 4.0, 6.0, 6.0] {
            let pause = backoff.pause().as_secs_f64();
            assert!((whole_s / 2.0..=whole_s).contains(&pause), "{pause} s of {whole_s} s");
        }
        backoff.reset();
        assert!(backoff.pause() <= Duration::from_secs(1));
    }

    #[test]
    fn daemons_with_different_seeds_do_not_return_together() {
        let pause = |seed| Backoff::new(Duration::from_secs(8), Duration::from_secs(8), seed).pause();
        assert_ne!(pause(1), pause(2));
    }
}
