//! What a process used.

use std::fs;
use std::path::Path;

/// What draining the backlog took.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Measured {
    pub(crate) per_second: f64,
    pub(crate) cpu_s_per_100k: f64,
    pub(crate) rss_mib: f64,
    /// Bytes on disk a message, write-ahead log included.
    pub(crate) disk_bytes: f64,
}

/// Processor seconds that a process has used so far (proc(5), `stat`, fields 14 and 15, in hundredths).
pub(crate) fn cpu_seconds(process: u32) -> f64 {
    let stat = fs::read_to_string(format!("/proc/{process}/stat")).unwrap_or_default();
    let fields: Vec<_> = stat.rsplit(')').next().unwrap_or_default().split_whitespace().collect();
    let ticks = |n: usize| fields.get(n).and_then(|t| t.parse::<f64>().ok()).unwrap_or(f64::NAN);
    (ticks(11) + ticks(12)) / 100.0
}

/// The most memory that it held (proc(5), `status`, `VmHWM`), MiB.
pub(crate) fn peak_mib(process: u32) -> f64 {
    let status = fs::read_to_string(format!("/proc/{process}/status")).unwrap_or_default();
    let peak = status.lines().find_map(|line| line.strip_prefix("VmHWM:"));
    let kib = peak.and_then(|peak| peak.trim().trim_end_matches(" kB").parse::<f64>().ok());
    kib.map_or(f64::NAN, |kib| kib / 1024.0)
}

/// Bytes of all files in a folder.
pub(crate) fn bytes_in(folder: &Path) -> u64 {
    let entries = fs::read_dir(folder).into_iter().flatten().flatten();
    entries.filter_map(|entry| entry.metadata().ok()).map(|about| about.len()).sum()
}
