//! One block as bytes.
//!
//! Times and values are compressed apart, as integers and as floating-point numbers; both come back bit by bit. pcodec
//! finds by itself that times have a common step and that values are decimal fractions.
//!
//! | bytes | what |
//! |---|---|
//! | 4 | CRC-32 of what follows |
//! | 4 | length of the times |
//! | … | times in milliseconds since 1970, pcodec's standalone format |
//! | … | values, likewise |
//!
//! Integers are little-endian.

use flate2::Crc;
use pco::ChunkConfig;
use pco::standalone::{simple_compress, simple_decompress};

/// One reading of a series.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(in crate::ledger) struct Sample {
    /// Milliseconds since 1970.
    pub(in crate::ledger) at: i64,
    pub(in crate::ledger) value: f64,
}

/// Why a block cannot be read or made.
#[derive(Debug, thiserror::Error)]
pub(super) enum BlockFault {
    #[error("a block of packed readings does not agree with its checksum")]
    Checksum,
    #[error("a block of packed readings has {times} times and {values} values, not {count}")]
    Count { count: usize, times: usize, values: usize },
    #[error("a block of packed readings cannot be worked out")]
    Codec(#[from] pco::errors::PcoError),
}

/// Bytes before the compressed times.
const HEAD: usize = 8;

pub(super) fn encode(samples: &[Sample]) -> Result<Vec<u8>, BlockFault> {
    let config = ChunkConfig::default();
    let times: Vec<i64> = samples.iter().map(|sample| sample.at).collect();
    let values: Vec<f64> = samples.iter().map(|sample| sample.value).collect();
    let times = simple_compress(&times, &config)?;
    let values = simple_compress(&values, &config)?;
    let mut body = vec![0; 4];
    body.extend((times.len() as u32).to_le_bytes());
    body.extend(times);
    body.extend(values);
    let sum = checksum(&body[4..]);
    body[..4].copy_from_slice(&sum);
    Ok(body)
}

/// The `count` samples of `body`.
pub(super) fn decode(body: &[u8], count: usize) -> Result<Vec<Sample>, BlockFault> {
    let (head, columns) = body.split_at_checked(HEAD).ok_or(BlockFault::Checksum)?;
    if checksum(&body[4..]) != head[..4] {
        return Err(BlockFault::Checksum);
    }
    let length = u32::from_le_bytes([head[4], head[5], head[6], head[7]]) as usize;
    let (times, values) = columns.split_at_checked(length).ok_or(BlockFault::Checksum)?;
    let times: Vec<i64> = simple_decompress(times)?;
    let values: Vec<f64> = simple_decompress(values)?;
    if (times.len(), values.len()) != (count, count) {
        return Err(BlockFault::Count { count, times: times.len(), values: values.len() });
    }
    Ok(times.into_iter().zip(values).map(|(at, value)| Sample { at, value }).collect())
}

fn checksum(bytes: &[u8]) -> [u8; 4] {
    let mut crc = Crc::new();
    crc.update(bytes);
    crc.sum().to_le_bytes()
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn a_probe_that_reports_thousandths_every_five_minutes_takes_little_over_a_byte() {
        // Noise of one and a half steps of the probe, from a fixed sequence (Marsaglia's xorshift64, 2003).
        let mut state = 88_172_645_463_325_252_u64;
        let mut step = || {
            state ^= state << 13;
            state ^= state >> 7;
            state ^= state << 17;
            (state >> 40) as f64 / f64::from(1 << 24) * 6.0 - 3.0
        };
        let sample =
            |i: i64| Sample { at: 1_772_323_200_000 + i * 300_000, value: (250.0 + step()).round() / 1000.0 };
        let samples: Vec<Sample> = (0..1032).map(sample).collect();
        let body = encode(&samples).unwrap();
        assert!(body.len() < 1032, "{} bytes", body.len());
        assert_eq!(decode(&body, 1032).unwrap(), samples);
    }

    #[test]
    fn every_flipped_bit_is_noticed() {
        let samples: Vec<Sample> = (0..40).map(|i| Sample { at: i * 1000, value: 0.25 }).collect();
        let body = encode(&samples).unwrap();
        for bit in 0..body.len() * 8 {
            let mut hurt = body.clone();
            hurt[bit / 8] ^= 1 << (bit % 8);
            assert!(decode(&hurt, 40).is_err(), "bit {bit}");
        }
        for length in 0..body.len() {
            assert!(decode(&body[..length], 40).is_err(), "cut to {length}");
        }
        assert!(decode(&body, 41).is_err());
    }

    proptest! {
        #[test]
        fn any_numbers_come_back_bit_by_bit(samples in proptest::collection::vec((any::<i64>(), any::<u64>()), 0..300)) {
            let samples: Vec<Sample> =
                samples.into_iter().map(|(at, bits)| Sample { at, value: f64::from_bits(bits) }).collect();
            let back = decode(&encode(&samples).unwrap(), samples.len()).unwrap();
            let bits = |samples: &[Sample]| samples.iter().map(|s| (s.at, s.value.to_bits())).collect::<Vec<_>>();
            prop_assert_eq!(bits(&back), bits(&samples));
        }
    }
}
