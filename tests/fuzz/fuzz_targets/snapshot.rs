//! Snapshots: bytes that no engine wrote are refused.
#![no_main]

mod common;

use std::sync::Arc;

use basinward::engine::Engine;

libfuzzer_sys::fuzz_target!(|data: &[u8]| {
    let version = &Engine::new(Arc::clone(&common::SYSTEM)).snapshot()[..2];
    let _ = Engine::restore(Arc::clone(&common::SYSTEM), &[version, data].concat());
});
