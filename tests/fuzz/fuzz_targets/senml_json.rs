//! SenML in JSON, on topics that stop at the system, at the basin and nowhere.
#![no_main]

mod common;

libfuzzer_sys::fuzz_target!(|data: &[u8]| {
    let payload = [b"[", data].concat();
    common::decode(&["greywater/yard", "greywater/yard/quince", "greywater/yard/quince/moisture"], &payload);
});
