//! A small machine.

use std::fs;

use rusqlite::Connection;
use support::{Mosquitto, until};

use crate::load::{Message, Sent, now};
use crate::rig::{PATIENCE, Yard};

const SYSTEMS: usize = 1000;
const LIMIT_KIB: u64 = 64 * 1024;

fn field(pid: u32, name: &str) -> u64 {
    let status = fs::read_to_string(format!("/proc/{pid}/status")).unwrap();
    let value = status.lines().find_map(|line| line.strip_prefix(name)).unwrap();
    value.trim_end_matches("kB").trim().parse().unwrap()
}

/// The kernel's own count of resident memory at its highest stands for a limit, which would need a control group.
#[test]
fn a_thousand_systems_fit_into_64_mib() {
    let broker = Mosquitto::start();
    let yard = Yard::new(SYSTEMS).listening_to(broker.port());
    let mut daemon = yard.start();
    until(PATIENCE, "the daemon listens", || yard.times_logged("listening to the broker") > 0);
    let (start, mut sent) = (now() - 4 * 3600, Sent::default());
    // Every probe every ten minutes for more than three hours, handed over at once.
    let every_ten_minutes = |n: usize| {
        let at = start + (n / SYSTEMS) as i64 * 300;
        Message { at, ..Message::calm(start, SYSTEMS, n) }
    };
    let messages: Vec<_> = (0..40 * SYSTEMS).map(every_ten_minutes).collect();
    let progress = broker.device().publish_all(messages.iter().map(|it| (it.topic(), it.payload())), 500);
    assert_eq!(progress.acknowledged, messages.len(), "{progress:?}");
    sent.note_all(&messages);
    until(PATIENCE, "everything is stored", || {
        yard.view().totals().unwrap().readings as usize == messages.len()
    });
    let pid = daemon.process.id();
    let (peak, now) = (field(pid, "VmHWM:"), field(pid, "RssAnon:"));
    println!(
        "{SYSTEMS} systems of 2 basins under load: at most {peak} KiB resident with the program itself, {now} KiB of it data"
    );
    sent.assert_nothing_is_missing(&yard, "1,000 systems in 64 MiB");
    // Under a limit the kernel takes the program's own pages away first: it can read them again.
    assert!(now < LIMIT_KIB, "{now} KiB");
    daemon.process.signal("TERM");
    daemon.process.wait(PATIENCE);
    they_learn_anew_in_64_mib(&yard);
}

/// After an upgrade that remembers differently every system goes through its stored readings, a few at a time.
fn they_learn_anew_in_64_mib(yard: &Yard) {
    let db = Connection::open(yard.path().join("data/ledger.db")).unwrap();
    let snapshots = db.execute("UPDATE snapshots SET state = X'FFFF'", []).unwrap();
    drop(db);
    let daemon = yard.start();
    let pid = daemon.process.id();
    let learnt = format!("learnt anew from the stored readings done={snapshots} of={snapshots}");
    until(PATIENCE, "all have learnt anew", || yard.times_logged(&learnt) > 0);
    let (peak, now) = (field(pid, "VmHWM:"), field(pid, "RssAnon:"));
    println!(
        "{snapshots} systems learnt anew: at most {peak} KiB resident with the program itself, {now} KiB of it data"
    );
    assert!(snapshots >= SYSTEMS && now < LIMIT_KIB, "{snapshots} systems, {now} KiB");
}
