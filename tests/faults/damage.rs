//! What a failing disk does to the file: it is noticed, said, and one command brings the last backup back.

use std::fs;
use std::path::Path;
use std::process::Command;

use basinward::ledger::{Ledger, View};
use support::{free_port, until};

use crate::load::{Message, Sent, now};
use crate::rig::{PATIENCE, Yard};

const SYSTEMS: usize = 3;

fn send(port: u16, start: i64, count: usize, sent: &mut Sent) {
    let from = sent.count();
    let messages: Vec<_> = (from..from + count).map(|n| Message::calm(start, SYSTEMS, n)).collect();
    let mut device = support::Device::connect(port, None).unwrap();
    let progress = device.publish_all(messages.iter().map(|it| (it.topic(), it.payload())), 50);
    assert_eq!(progress.acknowledged, count, "{progress:?}");
    sent.note_all(&messages);
}

fn script(name: &str, arguments: &[&Path]) -> std::process::Output {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("deploy/backup").join(name);
    let mut command = Command::new(script);
    command.args(arguments).env("BASINWARD", env!("CARGO_BIN_EXE_basinward")).output().unwrap()
}

#[test]
fn a_truncated_file_is_refused_and_the_backup_brought_back_by_one_command() {
    let port = free_port();
    let yard = Yard::new(SYSTEMS).with_embedded_broker(port);
    yard.write("basinward.toml", "");
    let (start, mut sent) = (now() - 90 * 86_400, Sent::default());
    let mut daemon = yard.start();
    send(port, start, 6000, &mut sent);
    let backed_up = script("backup", &[&yard.path().join("copies"), &yard.path().join("basinward.toml")]);
    assert!(backed_up.status.success(), "{backed_up:?}");
    let copy = String::from_utf8(backed_up.stdout).unwrap();
    let copy = Path::new(copy.lines().last().unwrap());
    daemon.process.signal("TERM");
    daemon.process.wait(PATIENCE);

    let file = yard.path().join("data/ledger.db");
    for parts in [2, 3, 10] {
        let length = fs::metadata(&file).unwrap().len();
        fs::OpenOptions::new()
            .write(true)
            .open(&file)
            .unwrap()
            .set_len(length * (parts - 1) / parts)
            .unwrap();
        let mut daemon = yard.launch();
        assert!(!daemon.process.wait(PATIENCE).success(), "it does not work on a torn file");
        let log = yard.log();
        assert!(log.contains("is damaged") && log.contains("newest backup"), "{log}");
        let restored = script("restore", &[copy, &yard.path().join("data")]);
        assert!(restored.status.success(), "{restored:?}");
    }
    let _daemon = yard.start();
    sent.assert_nothing_is_missing(&yard, "file truncated 3 times, each time restored from the backup");
}

/// All that a person could see of the ledger's readings.
fn told(folder: &Path, course: &Sent) -> Option<Vec<usize>> {
    let _writer = Ledger::open(folder).ok()?;
    let view = View::open(folder).ok()?;
    view.check().ok()?;
    Some(vec![course.count(), view.latest(None).ok()?.len()])
}

/// SQLite keeps no checksum of its pages: a bit that flips inside a number can only be noticed where the number is
/// packed. The count of those that pass is printed; nothing panics, and the check finds every broken page.
#[test]
fn flipped_bits_are_noticed_or_lie_in_a_plain_number() {
    const FLIPS: usize = 150;
    let port = free_port();
    let yard = Yard::new(SYSTEMS).with_embedded_broker(port);
    let (start, mut sent) = (now() - 90 * 86_400, Sent::default());
    let mut daemon = yard.start();
    send(port, start, 3000, &mut sent);
    daemon.process.signal("TERM");
    daemon.process.wait(PATIENCE);
    let whole = fs::read(yard.path().join("data/ledger.db")).unwrap();
    let (mut noticed, mut passed) = (0, 0);
    // Evenly over the file, at another bit each time.
    for flip in 0..FLIPS {
        let folder = tempfile::tempdir().unwrap();
        let mut bytes = whole.clone();
        let bit = whole.len() * 8 / FLIPS * flip + flip * 13;
        bytes[bit / 8] ^= 1 << (bit % 8);
        fs::write(folder.path().join("ledger.db"), bytes).unwrap();
        match told(folder.path(), &sent) {
            None => noticed += 1,
            Some(_) => passed += 1,
        }
    }
    println!(
        "{FLIPS} flipped bits in a file of unpacked readings: {noticed} noticed, {passed} in plain content or unused space"
    );
    assert!(noticed > 0);
    until(PATIENCE, "the whole file is as it was", || sent.missing(&yard) == 0);
}
