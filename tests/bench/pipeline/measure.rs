//! What a process used.

use std::fs;
use std::path::Path;
use std::process::Command;

/// Processor seconds that a process has used so far (proc(5), `stat`, fields 14 and 15, in hundredths).
pub(crate) fn cpu_seconds(process: u32) -> f64 {
    let stat = fs::read_to_string(format!("/proc/{process}/stat")).unwrap_or_default();
    let fields: Vec<_> = stat.rsplit(')').next().unwrap_or_default().split_whitespace().collect();
    let ticks = |n: usize| fields.get(n).and_then(|t| t.parse::<f64>().ok()).unwrap_or(f64::NAN);
    (ticks(11) + ticks(12)) / 100.0
}

/// A line of proc(5), `status`, in MiB: `VmHWM` for the most memory that a process held, `VmRSS` for what it holds.
pub(crate) fn memory_mib(process: u32, what: &str) -> f64 {
    let status = fs::read_to_string(format!("/proc/{process}/status")).unwrap_or_default();
    let line = status.lines().find_map(|line| line.strip_prefix(what)?.strip_prefix(':'));
    let kib = line.and_then(|line| line.trim().trim_end_matches(" kB").parse::<f64>().ok());
    kib.map_or(f64::NAN, |kib| kib / 1024.0)
}

/// On what and when it was measured.
pub(crate) fn machine() -> String {
    let cpus = std::thread::available_parallelism().map_or(1, usize::from);
    let load = fs::read_to_string("/proc/loadavg").unwrap_or_default();
    let load = load.split(' ').next().unwrap_or_default().to_owned();
    let commit = Command::new("git").args(["rev-parse", "--short", "HEAD"]).output();
    let commit = commit.map(|out| String::from_utf8_lossy(&out.stdout).trim().to_owned()).unwrap_or_default();
    let today = basinward::clock::Clock::wall().now().to_string();
    format!("{cpus} processors, load {load}, commit {commit}, {}", &today[..10])
}

/// Bytes of all files in a folder.
pub(crate) fn bytes_in(folder: &Path) -> u64 {
    let entries = fs::read_dir(folder).into_iter().flatten().flatten();
    entries.filter_map(|entry| entry.metadata().ok()).map(|about| about.len()).sum()
}
