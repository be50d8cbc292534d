//! A disk that is full, or cannot be written to. Both need a file system of their own, which only root may mount.

use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::thread;
use std::time::Duration;

use support::{Device, free_port, until};

use crate::load::{Message, Sent, now};
use crate::rig::{PATIENCE, Yard};

const SYSTEMS: usize = 3;

/// A small file system of its own in place of a folder; gone when dropped.
struct Mount(PathBuf);

impl Mount {
    /// None where this user may not mount.
    fn over(folder: &Path) -> Option<Self> {
        fs::create_dir_all(folder).unwrap();
        let mounted = mount(&["-t", "tmpfs", "-o", "size=64m", "basinward-test"], folder);
        if !mounted {
            println!("this user may not mount: left out (run the tests as root to include it)");
        }
        mounted.then(|| Self(folder.to_owned()))
    }
}

impl Drop for Mount {
    fn drop(&mut self) {
        // Lazily: a daemon that was killed just now may still be going.
        let _ = Command::new("umount").arg("-l").arg(&self.0).status();
    }
}

fn mount(options: &[&str], folder: &Path) -> bool {
    let mut command = Command::new("mount");
    command.args(options).arg(folder).stderr(std::process::Stdio::null());
    command.status().is_ok_and(|status| status.success())
}

/// Publishes messages from number `from` on until `count` are acknowledged, over as many connections as it takes.
fn publish(port: u16, start: i64, from: usize, count: usize) -> Vec<Message> {
    let messages: Vec<_> = (from..from + count).map(|n| Message::calm(start, SYSTEMS, n)).collect();
    let mut done = 0;
    while done < count {
        let Ok(mut device) = Device::connect(port, None) else {
            thread::sleep(Duration::from_millis(50));
            continue;
        };
        let rest = messages[done..].iter().map(|it| (it.topic(), it.payload()));
        done += device.publish_all(rest, 20).acknowledged;
    }
    messages
}

#[test]
fn a_full_disk_stops_acknowledgements_until_there_is_room_and_nothing_else() {
    let port = free_port();
    let yard = Yard::new(SYSTEMS).with_embedded_broker(port);
    let data = yard.path().join("data");
    let Some(_mount) = Mount::over(&data) else { return };
    let _daemon = yard.start();
    let (start, mut sent) = (now() - 90 * 86_400, Sent::default());
    for round in 0..3 {
        let acknowledged = publish(port, start, sent.count(), 500);
        sent.note_all(&acknowledged);
        let mut ballast = fs::File::create(data.join("ballast")).unwrap();
        while ballast.write_all(&[0; 4096]).is_ok() {}
        // What is open still takes room after it is removed.
        drop(ballast);
        let refused = yard.times_logged("cannot store");
        let from = sent.count();
        let device = thread::spawn(move || publish(port, start, from, 3000));
        until(PATIENCE, "it says that there is no room", || yard.times_logged("cannot store") > refused);
        assert!(yard.log().contains("free some space"), "{}", yard.log());
        assert_eq!(sent.missing(&yard), 0, "what is stored can be read meanwhile, round {round}");
        fs::remove_file(data.join("ballast")).unwrap();
        let acknowledged = device.join().unwrap();
        sent.note_all(&acknowledged);
    }
    sent.assert_nothing_is_missing(&yard, "disk full and freed 3 times");
}

#[test]
fn a_read_only_file_system_is_named_and_left_alone() {
    let port = free_port();
    let yard = Yard::new(SYSTEMS).with_embedded_broker(port);
    let data = yard.path().join("data");
    let Some(_mount) = Mount::over(&data) else { return };
    let (start, mut sent) = (now() - 90 * 86_400, Sent::default());
    let mut daemon = yard.start();
    let acknowledged = publish(port, start, 0, 500);
    sent.note_all(&acknowledged);
    daemon.process.signal("TERM");
    daemon.process.wait(PATIENCE);

    assert!(mount(&["-o", "remount,ro"], &data));
    let mut daemon = yard.launch();
    assert!(!daemon.process.wait(PATIENCE).success(), "it does not pretend to work");
    let log = yard.log();
    assert!(log.contains("may write there") && log.contains("Read-only file system"), "{log}");

    assert!(mount(&["-o", "remount,rw"], &data));
    let _daemon = yard.start();
    let acknowledged = publish(port, start, 500, 500);
    sent.note_all(&acknowledged);
    sent.assert_nothing_is_missing(&yard, "file system read-only for a while");
}
