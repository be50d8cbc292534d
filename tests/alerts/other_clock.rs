//! A clock that can be set, for a daemon that must not wait for hours: libfaketime stands between it and the machine's.

use std::fs;
use std::path::Path;

use tempfile::NamedTempFile;

use crate::rig::Yard;

/// The time of a daemon, told by a file.
pub(crate) struct OtherClock {
    library: &'static str,
    ahead: NamedTempFile,
}

impl OtherClock {
    /// One that goes right, or none where the library is not installed.
    pub(crate) fn found() -> Option<Self> {
        let places = [
            "/usr/lib/x86_64-linux-gnu/faketime/libfaketimeMT.so.1",
            "/usr/lib/aarch64-linux-gnu/faketime/libfaketimeMT.so.1",
        ];
        let Some(library) = places.into_iter().find(|place| Path::new(place).exists()) else {
            println!("libfaketime is not installed: a part is left out (Debian package faketime)");
            return None;
        };
        let clock = Self { library, ahead: NamedTempFile::new().expect("a file") };
        clock.goes_ahead_by("0");
        Some(clock)
    }

    /// Lets the daemons of `yard` go by it.
    pub(crate) fn drive(&self, yard: Yard) -> Yard {
        yard.with("LD_PRELOAD", self.library.to_owned())
            .with("FAKETIME_TIMESTAMP_FILE", self.ahead.path().display().to_string())
            .with("FAKETIME_NO_CACHE", "1".to_owned())
            .with("FAKETIME_DONT_FAKE_MONOTONIC", "1".to_owned())
    }

    /// Sets it ahead of the machine's, such as by `61m`.
    pub(crate) fn goes_ahead_by(&self, span: &str) {
        // At one stroke: read half-written, it would let the clock stay behind for a moment.
        let next = self.ahead.path().with_extension("next");
        fs::write(&next, format!("+{span}")).expect("writes");
        fs::rename(&next, self.ahead.path()).expect("takes its place");
    }
}
