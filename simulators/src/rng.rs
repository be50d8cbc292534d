//! Random draws that stay put when something else is added to the world.
//!
//! Every purpose has a stream of its own, made from the seed, the purpose's name and an index (a day, a dose).
//! A new fault or sensor opens new streams and leaves the household's draws as they were.

use rand_pcg::Pcg64Mcg;
use rand_pcg::rand_core::Rng as _;

/// A stream of random draws. The generator is PCG XSL 128/64 (O'Neill 2014).
#[derive(Debug, Clone)]
pub struct Rng(Pcg64Mcg);

impl Rng {
    /// The stream that `seed`, `purpose` and `index` name; the same three always give the same draws.
    pub fn stream(seed: u64, purpose: &str, index: u64) -> Self {
        // FNV-1a over the name, then SplitMix64 to spread neighbouring seeds and indices apart.
        let name = purpose.bytes().fold(0xcbf2_9ce4_8422_2325, |hash: u64, byte| {
            (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3)
        });
        let high = split_mix(seed ^ split_mix(name));
        let low = split_mix(high ^ split_mix(index.wrapping_add(name)));
        Self(Pcg64Mcg::new(u128::from(high) << 64 | u128::from(low)))
    }

    /// Sixty-four random bits.
    pub fn bits(&mut self) -> u64 {
        self.0.next_u64()
    }

    /// Uniform in 0 (included) to 1 (excluded).
    pub fn unit(&mut self) -> f64 {
        (self.bits() >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// Uniform between `low` and `high`.
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    /// True with probability `p`.
    pub fn chance(&mut self, p: f64) -> bool {
        self.unit() < p
    }

    /// Normal with mean 0 and standard deviation 1 (Box and Muller 1958).
    pub fn normal(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.unit()).ln()).sqrt();
        radius * (std::f64::consts::TAU * self.unit()).cos()
    }

    /// Lognormal with the given median and standard deviation of its logarithm.
    pub fn lognormal(&mut self, median: f64, log_sd: f64) -> f64 {
        median * (log_sd * self.normal()).exp()
    }

    /// Exponential with the given mean.
    pub fn exponential(&mut self, mean: f64) -> f64 {
        -mean * (1.0 - self.unit()).ln()
    }

    /// Poisson with the given mean, by counting products of uniforms (Knuth); meant for means below about 30.
    pub fn poisson(&mut self, mean: f64) -> u32 {
        let limit = (-mean).exp();
        let mut product = self.unit();
        let mut count = 0;
        while product > limit {
            product *= self.unit();
            count += 1;
        }
        count
    }
}

/// One step of `SplitMix64` (Steele, Lea and Flood 2014), used as a mixing function.
fn split_mix(value: u64) -> u64 {
    let mut z = value.wrapping_add(0x9e37_79b9_7f4a_7c15);
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    z ^ (z >> 31)
}

#[cfg(test)]
mod tests {
    use super::Rng;

    #[test]
    fn a_stream_depends_on_seed_purpose_and_index_and_on_nothing_else() {
        let first = |seed, purpose, index| Rng::stream(seed, purpose, index).bits();
        assert_eq!(first(1, "showers", 4), first(1, "showers", 4));
        assert_ne!(first(1, "showers", 4), first(2, "showers", 4));
        assert_ne!(first(1, "showers", 4), first(1, "laundry", 4));
        assert_ne!(first(1, "showers", 4), first(1, "showers", 5));
    }

    #[test]
    fn draws_have_the_moments_of_their_distributions() {
        // Means and variances of the standard distributions; 100,000 draws put the mean within 5 standard errors.
        let mut rng = Rng::stream(7, "moments", 0);
        let n = 100_000;
        let mean = |draws: &[f64]| draws.iter().sum::<f64>() / draws.len() as f64;
        let normal: Vec<f64> = (0..n).map(|_| rng.normal()).collect();
        let squares: Vec<f64> = normal.iter().map(|x| x * x).collect();
        assert!(mean(&normal).abs() < 0.016);
        assert!((mean(&squares) - 1.0).abs() < 0.023);
        let poisson: Vec<f64> = (0..n).map(|_| f64::from(rng.poisson(2.5))).collect();
        assert!((mean(&poisson) - 2.5).abs() < 0.025);
        let exponential: Vec<f64> = (0..n).map(|_| rng.exponential(3.0)).collect();
        assert!((mean(&exponential) - 3.0).abs() < 0.048);
        let lognormal: Vec<f64> = (0..n).map(|_| rng.lognormal(1.0, 0.5).ln()).collect();
        assert!(mean(&lognormal).abs() < 0.008);
    }
}
