#![no_main]

#[allow(dead_code)]
mod common;

libfuzzer_sys::fuzz_target!(|data: &[u8]| common::snapshot(data));
