//! Payloads for people.

use std::borrow::Cow;
use std::fmt::Write;

/// Bytes of a payload that are told one by one.
const BYTES: usize = 48;

/// The beginning of a payload: as the text that it is, or byte by byte in hexadecimal where it is none.
pub(super) fn legible(bytes: &[u8]) -> Cow<'_, str> {
    let text = match std::str::from_utf8(bytes) {
        Ok(text) => text,
        // Cut in the middle of a character.
        Err(fault) if fault.error_len().is_none() => {
            std::str::from_utf8(&bytes[..fault.valid_up_to()]).unwrap_or_default()
        }
        Err(_) => return hexadecimal(bytes).into(),
    };
    let is_odd = |char: char| char.is_control() && !char.is_whitespace();
    if text.contains(is_odd) { hexadecimal(bytes).into() } else { text.into() }
}

/// `0x 82 a2 62`
fn hexadecimal(bytes: &[u8]) -> String {
    let mut text = "0x".to_owned();
    for byte in bytes.iter().take(BYTES) {
        write!(text, " {byte:02x}").expect("writing to a string cannot fail");
    }
    if bytes.len() > BYTES {
        text.push_str(" …");
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_payload_that_is_no_text_is_told_byte_by_byte() {
        assert_eq!(legible("31.4 °C\r\n".as_bytes()), "31.4 °C\r\n");
        assert_eq!(legible(&"31.4 °C".as_bytes()[..6]), "31.4 ", "cut within a character");
        // How the CBOR pack of RFC 8428, section 6, begins (from memory).
        assert_eq!(legible(&[0x87, 0xa7, 0x21, 0x78]), "0x 87 a7 21 78");
        assert_eq!(legible(b"\x00\x01"), "0x 00 01", "text by chance");
        assert!(legible(&[0xff; 100]).ends_with(" ff …"));
    }
}
