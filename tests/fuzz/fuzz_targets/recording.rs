//! Recordings: every line is read or refused, and reading ends.
#![no_main]

use basinward::replay::RecordingReader;

libfuzzer_sys::fuzz_target!(|data: &[u8]| {
    let mut reader = RecordingReader::new(data);
    while let Ok(Some(_)) = reader.next_message() {}
});
