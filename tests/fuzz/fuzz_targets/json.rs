//! JSON objects with value and time.
#![no_main]

mod common;

libfuzzer_sys::fuzz_target!(|data: &[u8]| {
    let payload = [b"{\"value\":", data].concat();
    common::decode(&["greywater/yard/quince/moisture", "greywater/yard/diverter"], &payload);
    common::decode(&["greywater/yard/quince/battery"], &[b"{", data].concat());
});
