//! Somebody sets the machine's clock. libfaketime stands between the daemon and the clock, and is told by a file.

use std::fs;
use std::path::Path;

use support::{Mosquitto, until};

use crate::load::now;
use crate::rig::{PATIENCE, Yard};

/// Where Debian keeps it on the machines that it knows.
fn library() -> Option<&'static str> {
    let places = [
        "/usr/lib/x86_64-linux-gnu/faketime/libfaketimeMT.so.1",
        "/usr/lib/aarch64-linux-gnu/faketime/libfaketimeMT.so.1",
    ];
    places.into_iter().find(|place| Path::new(place).exists())
}

#[test]
fn a_clock_that_is_set_forward_and_back_loses_no_reading() {
    let Some(library) = library() else {
        println!("libfaketime is not installed: left out (Debian package faketime)");
        return;
    };
    let broker = Mosquitto::start();
    let folder = tempfile::tempdir().unwrap();
    let told = folder.path().join("time");
    fs::write(&told, "+0").unwrap();
    let yard = Yard::new(2)
        .listening_to(broker.port())
        .with("LD_PRELOAD", library.to_owned())
        .with("FAKETIME_TIMESTAMP_FILE", told.display().to_string())
        .with("FAKETIME_NO_CACHE", "1".to_owned())
        .with("FAKETIME_DONT_FAKE_MONOTONIC", "1".to_owned());
    let mut daemon = yard.start();
    until(PATIENCE, "the daemon listens", || yard.times_logged("listening to the broker") > 0);
    let (mut device, mut sent) = (broker.device(), 0);
    let steps = [("+0", 0), ("+2h", 2), ("-3h", -3), ("+30d", 720), ("-1d", -24), ("+0", 0)];
    let begun_ms = now() * 1000;
    for (step, hours) in steps {
        fs::write(&told, step).unwrap();
        for _ in 0..40 {
            sent += 1;
            // By a clock that is set like the machine's.
            let at = begun_ms + hours * 3_600_000 + i64::try_from(sent).unwrap();
            let payload = format!("{{\"value\":31.4,\"time\":{at}}}");
            device.publish("greywater/yard-0/quince/moisture", payload.as_bytes()).unwrap();
        }
        let stored = || yard.view().totals().unwrap().readings;
        until(PATIENCE, &format!("all are stored under {step}"), || stored() == sent);
    }
    assert!(daemon.process.child().try_wait().unwrap().is_none(), "it runs");
    // What it wrote under six clocks comes back under one.
    daemon.process.kill();
    let _daemon = yard.start();
    device.publish("greywater/yard-1/quince/moisture", b"31.4").unwrap();
    until(PATIENCE, "it goes on", || yard.view().totals().unwrap().readings == sent + 1);
    println!("clock set {} times, forward and back: {sent} acknowledged, 0 lost", steps.len() - 1);
}
