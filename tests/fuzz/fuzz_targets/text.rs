//! Bare text.
#![no_main]

mod common;

libfuzzer_sys::fuzz_target!(|data: &[u8]| {
    common::decode(&["greywater/yard/quince/moisture", "greywater/yard/diverter", "greywater/yard/meter"], data);
});
