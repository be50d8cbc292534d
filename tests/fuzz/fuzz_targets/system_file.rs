//! System files: any text is read or refused with places.
#![no_main]

use basinward::systemfile;

libfuzzer_sys::fuzz_target!(|text: &str| {
    if let Err(faults) = systemfile::parse("yard.toml", text) {
        assert!(!faults.is_empty());
    }
});
