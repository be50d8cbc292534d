#![no_main]

#[expect(dead_code, reason = "each target calls one of them")]
mod common;

libfuzzer_sys::fuzz_target!(|data: &[u8]| common::requests(data));
