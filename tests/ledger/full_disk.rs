//! A disk without room: nothing is lost, and the ledger goes on by itself.

use std::path::Path;
use std::process::Command;

use basinward::ledger::View;
use tempfile::TempDir;

use crate::child::{READINGS, Writer};

/// Hears commits until the disk is full, then the same fault again; returns the last commit.
fn write_until_full(writer: &mut Writer) -> u64 {
    let mut last = 0;
    loop {
        match writer.hear(&["committed", "full"]).expect("the writer survives") {
            ("committed", number) => last = number.parse().unwrap(),
            (_, why) => {
                assert!(why.contains("free some space"), "{why}");
                writer.hear(&["full"]).expect("it tries again");
                return last;
            }
        }
    }
}

fn goes_on_after(writer: &mut Writer, last: u64) {
    for seq in last + 1..last + 40 {
        assert_eq!(writer.hear_commit(), Some(seq), "the kept batch first, then the next ones");
    }
}

fn everything_is_there(folder: &Path, reported: u64) {
    let view = View::open(folder).unwrap();
    let totals = view.totals().unwrap();
    assert!(totals.last_commit >= reported);
    assert_eq!((totals.readings, totals.duplicates), (totals.last_commit * READINGS, 0));
    view.check().unwrap();
}

/// A limit on the size of files stands for a quota or a full disk, and needs no privileges.
#[test]
fn a_limit_on_file_size_stops_the_ledger_only_until_it_is_lifted() {
    let folder = TempDir::new().unwrap();
    // In blocks of 512 bytes: 2 MiB for any file. Without the trap the limit would end the process.
    let limit = ["sh", "-c", "trap '' XFSZ; ulimit -S -f 4096; exec \"$0\" \"$@\""];
    let mut writer = Writer::start(folder.path(), &limit);
    let last = write_until_full(&mut writer);
    assert!(last > 10, "it wrote before the limit: {last}");

    let pid = writer.process.id().to_string();
    let lifted = Command::new("prlimit").args(["--pid", &pid, "--fsize=unlimited:"]).status().unwrap();
    assert!(lifted.success());
    goes_on_after(&mut writer, last);
    writer.kill();
    everything_is_there(folder.path(), last + 39);
}

/// Where this user may mount a small file system of its own, the disk is really full; elsewhere the
/// limit on file size has to do, with the restart that the other test leaves out.
#[test]
fn a_full_disk_stops_the_ledger_only_until_there_is_room() {
    let folder = TempDir::new().unwrap();
    let mount = "mount -t tmpfs -o size=16m ledger-test \"$LEDGER_TEST_FOLDER\"";
    let may_mount = Command::new("unshare")
        .args(["--user", "--map-root-user", "--mount", "sh", "-c", mount])
        .env("LEDGER_TEST_FOLDER", folder.path())
        .status()
        .is_ok_and(|status| status.success());
    if !may_mount {
        println!("this user may not mount: a limit on file size stands for the full disk");
        return restart_on_a_full_disk();
    }
    let ballast = format!(
        "{mount} && head -c 12000000 /dev/zero >\"$LEDGER_TEST_FOLDER/ballast\" && exec \"$0\" \"$@\""
    );
    let wrapper = ["unshare", "--user", "--map-root-user", "--mount", "sh", "-c", &ballast];
    let mut writer = Writer::start(folder.path(), &wrapper);
    let last = write_until_full(&mut writer);
    assert!(last > 10, "it wrote before the disk was full: {last}");

    // Only the child sees its mount, but the way there leads through its root.
    let inside = Path::new("/proc")
        .join(writer.process.id().to_string())
        .join("root")
        .join(folder.path().strip_prefix("/").unwrap());
    std::fs::remove_file(inside.join("ballast")).unwrap();
    goes_on_after(&mut writer, last);
    // The mount ends with the child, so its files are copied while it stands still.
    let pid = writer.process.id().to_string();
    assert!(Command::new("kill").args(["-STOP", &pid]).status().unwrap().success());
    let copy = TempDir::new().unwrap();
    for file in ["ledger.db", "ledger.db-wal"] {
        std::fs::copy(inside.join(file), copy.path().join(file)).unwrap();
    }
    writer.kill();
    everything_is_there(copy.path(), last + 39);
}

fn restart_on_a_full_disk() {
    let folder = TempDir::new().unwrap();
    let limit = ["sh", "-c", "trap '' XFSZ; ulimit -S -f 4096; exec \"$0\" \"$@\""];
    let mut writer = Writer::start(folder.path(), &limit);
    let last = write_until_full(&mut writer);
    writer.kill();
    everything_is_there(folder.path(), last);
    let mut writer = Writer::start(folder.path(), &[]);
    goes_on_after(&mut writer, last);
    writer.kill();
}
