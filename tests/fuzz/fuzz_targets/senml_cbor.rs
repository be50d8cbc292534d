//! SenML in CBOR, with a stated and an open number of records.
#![no_main]

mod common;

libfuzzer_sys::fuzz_target!(|data: &[u8]| {
    for first in [0x81, 0x84, 0x9f] {
        let payload = [&[first], data].concat();
        common::decode(&["greywater/yard", "greywater/yard/quince/moisture"], &payload);
    }
});
