//! Photographs as they may be kept: of a known kind, and without what cameras write beside the picture, such as
//! where it was taken.
//!
//! JPEG by ISO/IEC 10918-1, annex B; PNG by the W3C recommendation (third edition), section 5; WebP by RFC 9649,
//! section 2. The picture itself is not decoded. An orientation noted beside the picture goes too: our pages turn
//! a picture upright before they send it.

use crate::ledger::{PHOTO_BYTES, PhotoKind};

/// Why a photograph is not kept.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub(super) enum PhotoFault {
    /// It is too large.
    #[error("a photograph has at most 2 MiB: make it smaller")]
    TooLarge,
    /// It is none of the kinds.
    #[error("this is no JPEG, PNG or WebP picture")]
    Unknown,
    /// It ends too soon, or its parts do not fit together.
    #[error("this picture is broken: take it again")]
    Broken,
}

/// The kind of a picture, and its bytes without what does not belong to the picture.
pub(super) fn stripped(bytes: &[u8]) -> Result<(PhotoKind, Vec<u8>), PhotoFault> {
    if bytes.len() > PHOTO_BYTES {
        return Err(PhotoFault::TooLarge);
    }
    let (kind, bare) = if bytes.starts_with(&[0xff, 0xd8, 0xff]) {
        (PhotoKind::Jpeg, jpeg(bytes))
    } else if bytes.starts_with(PNG) {
        (PhotoKind::Png, png(bytes))
    } else if bytes.starts_with(b"RIFF") && bytes.get(8..12) == Some(b"WEBP") {
        (PhotoKind::Webp, webp(bytes))
    } else {
        return Err(PhotoFault::Unknown);
    };
    Ok((kind, bare.ok_or(PhotoFault::Broken)?))
}

/// Walks the segments: markers that stand alone, segments with a length, and after each scan header the scan
/// itself, which ends at the next marker. What follows the end of the image is dropped.
fn jpeg(bytes: &[u8]) -> Option<Vec<u8>> {
    let mut out = bytes.get(..2)?.to_vec();
    let mut at = 2;
    loop {
        let start = at;
        if *bytes.get(at)? != 0xff {
            return None;
        }
        // Any number of fill bytes may stand before a marker.
        while *bytes.get(at)? == 0xff {
            at += 1;
        }
        let marker = bytes[at];
        at += 1;
        if marker == 0xd9 {
            out.extend([0xff, marker]);
            return Some(out);
        }
        let length = usize::from(u16::from_be_bytes([*bytes.get(at)?, *bytes.get(at + 1)?]));
        let segment = bytes.get(at..at + length)?;
        at += length;
        if marker == 0xda {
            while *bytes.get(at)? != 0xff || matches!(bytes.get(at + 1)?, 0x00 | 0xd0..=0xd7 | 0xff) {
                at += 1;
            }
            out.extend(&bytes[start..at]);
        } else if belongs(marker, segment) {
            out.extend([0xff, marker]);
            out.extend(segment);
        }
    }
}

/// Of the segments for applications only those that change how the picture looks: JFIF, colour profile, Adobe.
fn belongs(marker: u8, segment: &[u8]) -> bool {
    match marker {
        0xe0 | 0xee => true,
        0xe2 => segment.get(2..).is_some_and(|content| content.starts_with(b"ICC_PROFILE\0")),
        0xe1..=0xef | 0xfe => false,
        _ => true,
    }
}

const PNG: &[u8] = &[0x89, b'P', b'N', b'G', 0x0d, 0x0a, 0x1a, 0x0a];
/// Further chunks that change how the picture looks.
const LOOKS: [&[u8; 4]; 8] = [b"tRNS", b"gAMA", b"cHRM", b"sRGB", b"iCCP", b"sBIT", b"bKGD", b"pHYs"];

fn png(bytes: &[u8]) -> Option<Vec<u8>> {
    let mut out = PNG.to_vec();
    let mut at = PNG.len();
    loop {
        let length = u32::from_be_bytes(bytes.get(at..at + 4)?.try_into().ok()?) as usize;
        let chunk = bytes.get(at..at.checked_add(length)?.checked_add(12)?)?;
        let kind: &[u8; 4] = chunk[4..8].try_into().ok()?;
        // Critical chunks have a capital first letter.
        if kind[0].is_ascii_uppercase() || LOOKS.contains(&kind) {
            out.extend(chunk);
        }
        if kind == b"IEND" {
            return Some(out);
        }
        at += chunk.len();
    }
}

fn webp(bytes: &[u8]) -> Option<Vec<u8>> {
    let mut out = bytes.get(..12)?.to_vec();
    let end = u32::from_le_bytes(bytes[4..8].try_into().ok()?) as usize + 8;
    let mut at = 12;
    while at < end.min(bytes.len()) {
        let length = u32::from_le_bytes(bytes.get(at + 4..at + 8)?.try_into().ok()?) as usize;
        let whole = length.checked_add(8 + length % 2)?;
        let chunk = bytes.get(at..at.checked_add(whole)?)?;
        let is_beside = matches!(&chunk[..4], b"EXIF" | b"XMP ");
        if !is_beside {
            let from = out.len();
            out.extend(chunk);
            if &chunk[..4] == b"VP8X" {
                // The flags that say that EXIF and XMP follow.
                *out.get_mut(from + 8)? &= !0x0c;
            }
        }
        at += whole;
    }
    let size = u32::try_from(out.len() - 8).ok()?;
    out[4..8].copy_from_slice(&size.to_le_bytes());
    (out.len() > 12).then_some(out)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn segment(marker: u8, content: &[u8]) -> Vec<u8> {
        let length = (content.len() as u16 + 2).to_be_bytes();
        [&[0xff, marker], &length[..], content].concat()
    }

    #[test]
    fn a_jpeg_keeps_its_picture_and_loses_where_it_was_taken() {
        let scan = [0x12, 0xff, 0x00, 0x34, 0xff, 0xd0, 0x56];
        let picture =
            [segment(0xe0, b"JFIF\0"), segment(0xdb, &[1; 8]), segment(0xda, &[2; 4]), scan.to_vec()];
        let clean = [&[0xff, 0xd8], &picture.concat()[..], &[0xff, 0xd9]].concat();
        let mut taken = vec![0xff, 0xd8];
        taken.extend(segment(0xe1, b"Exif\0\0 35.69N 105.94W"));
        taken.extend(&picture.concat());
        taken.extend(segment(0xfe, b"by the gate"));
        taken.extend([0xff, 0xd9]);
        taken.extend(b"a film after the picture");
        assert_eq!(stripped(&taken), Ok((PhotoKind::Jpeg, clean)));
    }

    #[test]
    fn a_png_keeps_its_picture_and_loses_the_rest() {
        let chunk = |kind: &[u8], content: &[u8]| {
            [&(content.len() as u32).to_be_bytes(), kind, content, &[0; 4]].concat()
        };
        let (head, data, end) = (chunk(b"IHDR", &[0; 13]), chunk(b"IDAT", &[1; 5]), chunk(b"IEND", &[]));
        let clean = [PNG, &head, &data, &end].concat();
        let taken =
            [PNG, &head, &chunk(b"eXIf", b"35.69N"), &data, &chunk(b"tEXt", b"gate"), &end, b"more"].concat();
        assert_eq!(stripped(&taken), Ok((PhotoKind::Png, clean)));
    }

    #[test]
    fn a_webp_keeps_its_picture_and_says_no_more_that_exif_follows() {
        let chunk = |kind: &[u8], content: &[u8]| {
            let pad = vec![0; content.len() % 2];
            [kind, &(content.len() as u32).to_le_bytes(), content, &pad].concat()
        };
        let riff =
            |chunks: &[u8]| [b"RIFF", &(chunks.len() as u32 + 4).to_le_bytes()[..], b"WEBP", chunks].concat();
        let picture = chunk(b"VP8 ", &[7; 11]);
        let with_flags = |flags: u8| chunk(b"VP8X", &[flags, 0, 0, 0, 1, 0, 0, 1, 0, 0]);
        let taken = riff(&[with_flags(0x0c), picture.clone(), chunk(b"EXIF", b"35.69N")].concat());
        let clean = riff(&[with_flags(0), picture].concat());
        assert_eq!(stripped(&taken), Ok((PhotoKind::Webp, clean)));
    }

    #[test]
    fn what_is_no_picture_is_refused() {
        assert_eq!(stripped(b"<svg onload=alert(1)>"), Err(PhotoFault::Unknown));
        assert_eq!(stripped(b"GIF89a"), Err(PhotoFault::Unknown));
        assert_eq!(stripped(&[0xff, 0xd8, 0xff, 0xe0, 0xff]), Err(PhotoFault::Broken));
        assert_eq!(stripped(&vec![0; PHOTO_BYTES + 1]), Err(PhotoFault::TooLarge));
    }

    proptest! {
        /// Whatever comes, it ends, nothing panics, and what was stripped once has nothing more to lose.
        #[test]
        fn anything_ends(start in prop::sample::select(vec![
            vec![0xff, 0xd8, 0xff], PNG.to_vec(), b"RIFF\x40\0\0\0WEBP".to_vec(),
        ]), rest in prop::collection::vec(any::<u8>(), 0..200)) {
            if let Ok((kind, bare)) = stripped(&[start, rest].concat()) {
                prop_assert_eq!(stripped(&bare), Ok((kind, bare)));
            }
        }
    }
}
