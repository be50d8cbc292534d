//! Publishes that are too large to take.
//!
//! An MQTT 3.1.1 broker cannot be told a limit, and sends an unacknowledged message again on every
//! connection: refusing one by closing would never end. So its head is read, its payload skipped, and
//! it is acknowledged as if it had been dealt with.

use super::super::health::Fault;

/// What the next packet is, as far as its first bytes tell.
#[derive(Debug, PartialEq, Eq)]
pub(super) enum Oversized {
    No,
    /// Too few bytes so far.
    Unclear,
    Yes {
        /// 0 for QoS 0.
        packet_id: u16,
        /// Of the whole packet.
        bytes: usize,
    },
}

/// Looks at the head of the next packet (MQTT 3.1.1, sections 2.2 and 3.3).
pub(super) fn look(inbound: &[u8], max_packet: usize) -> Result<Oversized, Fault> {
    let [first, rest @ ..] = inbound else { return Ok(Oversized::No) };
    let Some((length, digits)) = remaining_length(rest) else { return Ok(Oversized::No) };
    if length <= max_packet {
        return Ok(Oversized::No);
    }
    if first >> 4 != 3 {
        return Err(Fault::Protocol(format!("a packet of {length} bytes that is no message")));
    }
    let body = &rest[digits..];
    let bytes = 1 + digits + length;
    if first & 0b0110 == 0 {
        return Ok(Oversized::Yes { packet_id: 0, bytes });
    }
    let [high, low, after @ ..] = body else { return Ok(Oversized::Unclear) };
    let topic = usize::from(u16::from_be_bytes([*high, *low]));
    match after.get(topic..topic + 2) {
        Some(id) => Ok(Oversized::Yes { packet_id: u16::from_be_bytes([id[0], id[1]]), bytes }),
        None => Ok(Oversized::Unclear),
    }
}

/// The length that follows the first byte, and how many bytes it takes itself; nothing if it is not
/// all there or is malformed, which decoding will find out.
fn remaining_length(rest: &[u8]) -> Option<(usize, usize)> {
    let digits = rest.iter().take(4).position(|digit| digit & 0x80 == 0)? + 1;
    let length = rest[..digits].iter().rev().fold(0, |length, digit| length << 7 | usize::from(digit & 0x7F));
    Some((length, digits))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lengths_are_those_of_the_standard() {
        // MQTT 3.1.1, table 2.4.
        let table: [(&[u8], usize); 8] = [
            (&[0x00], 0),
            (&[0x7F], 127),
            (&[0x80, 0x01], 128),
            (&[0xFF, 0x7F], 16_383),
            (&[0x80, 0x80, 0x01], 16_384),
            (&[0xFF, 0xFF, 0x7F], 2_097_151),
            (&[0x80, 0x80, 0x80, 0x01], 2_097_152),
            (&[0xFF, 0xFF, 0xFF, 0x7F], 268_435_455),
        ];
        for (digits, length) in table {
            assert_eq!(remaining_length(digits), Some((length, digits.len())));
        }
        assert_eq!(remaining_length(&[0x80]), None);
        assert_eq!(remaining_length(&[0xFF, 0xFF, 0xFF, 0xFF, 0x01]), None, "five digits are malformed");
    }

    #[test]
    fn an_oversized_message_gives_its_packet_id_as_soon_as_that_is_there() {
        let head = [0x32, 0x80, 0x01, 0, 3, b'a', b'/', b'b', 0x12, 0x34, b'x'];
        for known in 0..3 {
            assert_eq!(look(&head[..known], 100), Ok(Oversized::No), "{known} bytes: decoding waits too");
        }
        for known in 3..10 {
            assert_eq!(look(&head[..known], 100), Ok(Oversized::Unclear), "{known} bytes");
        }
        assert_eq!(look(&head[..10], 100), Ok(Oversized::Yes { packet_id: 0x1234, bytes: 131 }));
        assert_eq!(look(&head, 128), Ok(Oversized::No));
    }

    #[test]
    fn an_oversized_packet_of_another_kind_is_a_fault() {
        assert!(look(&[0x20, 0x80, 0x01], 100).is_err());
    }
}
