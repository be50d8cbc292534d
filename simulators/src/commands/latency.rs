//! Latencies in a bounded space: buckets that are 2 % wide, from a microsecond to minutes.

use std::time::Duration;

use serde::Serialize;

/// Ratio of a bucket's upper end to its lower.
const WIDTH: f64 = 1.02;
const BUCKETS: usize = 1024;

/// A histogram of latencies.
#[derive(Debug, Clone)]
pub(super) struct Latencies {
    counts: Vec<u64>,
    longest: Duration,
}

/// Its usual summary, in milliseconds. Quantiles are at most 2 % too high.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub(super) struct Summary {
    pub(super) p50: f64,
    pub(super) p90: f64,
    pub(super) p99: f64,
    pub(super) max: f64,
}

impl Default for Latencies {
    fn default() -> Self {
        Self { counts: vec![0; BUCKETS], longest: Duration::ZERO }
    }
}

impl Latencies {
    /// Counts one.
    pub(super) fn add(&mut self, latency: Duration) {
        let micros = (latency.as_secs_f64() * 1e6).max(1.0);
        let bucket = ((micros.ln() / WIDTH.ln()) as usize).min(BUCKETS - 1);
        self.counts[bucket] += 1;
        self.longest = self.longest.max(latency);
    }

    /// Adds those of another connection.
    pub(super) fn join(&mut self, other: &Self) {
        self.counts.iter_mut().zip(&other.counts).for_each(|(mine, theirs)| *mine += theirs);
        self.longest = self.longest.max(other.longest);
    }

    /// Quantiles and the longest.
    pub(super) fn summary(&self) -> Summary {
        Summary {
            p50: self.quantile_ms(0.5),
            p90: self.quantile_ms(0.9),
            p99: self.quantile_ms(0.99),
            max: self.longest.as_secs_f64() * 1e3,
        }
    }

    fn quantile_ms(&self, part: f64) -> f64 {
        let all: u64 = self.counts.iter().sum();
        let wanted = (all as f64 * part).ceil() as u64;
        let mut seen = 0;
        for (bucket, count) in self.counts.iter().enumerate() {
            seen += count;
            if seen >= wanted && *count > 0 {
                let upper_ms = WIDTH.powi(bucket as i32 + 1) / 1e3;
                return upper_ms.min(self.longest.as_secs_f64() * 1e3);
            }
        }
        0.0
    }
}

#[cfg(test)]
mod tests {
    use super::{Duration, Latencies};

    #[test]
    fn quantiles_of_known_latencies_are_found_within_a_bucket() {
        let mut latencies = Latencies::default();
        (1..=1000).for_each(|ms| latencies.add(Duration::from_millis(ms)));
        let summary = latencies.summary();
        assert!((summary.p50 - 500.0).abs() < 11.0, "{summary:?}");
        assert!((summary.p99 - 990.0).abs() < 21.0, "{summary:?}");
        assert!((summary.max - 1000.0).abs() < 1e-9);
    }

    #[test]
    fn joining_is_counting_together() {
        let (mut a, mut b) = (Latencies::default(), Latencies::default());
        a.add(Duration::from_millis(1));
        b.add(Duration::from_millis(100));
        a.join(&b);
        assert!(a.summary().p90 > 90.0);
    }
}
