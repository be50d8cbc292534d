//! Foreign JSON by pointers.
#![no_main]

mod common;

libfuzzer_sys::fuzz_target!(|data: &[u8]| {
    common::decode(&["lora/up"], data);
    common::decode(&["lora/up"], &[b"{\"at\":1,\"d\":{\"contact\":", data].concat());
});
