//! The broker goes wrong in every way it can.

use std::io::{Read, Write};
use std::net::{Shutdown, TcpListener, TcpStream};
use std::thread;
use std::time::Duration;

use support::{Mosquitto, until};

use crate::load::{Message, Sent, now};
use crate::rig::{PATIENCE, Yard};

const SYSTEMS: usize = 3;
const PORTION: usize = 400;

/// Publishes the next portion and waits until the daemon has it all, so that what a broker forgets is never ours.
fn portion(broker: &Mosquitto, yard: &Yard, start: i64, sent: &mut Sent) {
    let from = sent.count();
    let messages: Vec<_> = (from..from + PORTION).map(|n| Message::calm(start, SYSTEMS, n)).collect();
    let progress = broker.device().publish_all(messages.iter().map(|it| (it.topic(), it.payload())), 50);
    assert!(progress.ended_by.is_none(), "{progress:?}");
    sent.note_all(&messages);
    until(PATIENCE, "everything is stored", || sent.missing(yard) == 0);
}

#[test]
fn a_broker_that_is_killed_hangs_or_forgets_costs_nothing() {
    let mut broker = Mosquitto::start();
    let yard =
        Yard::new(SYSTEMS).listening_to(broker.port()).with("BASINWARD__MQTT__KEEP_ALIVE_S", "10".to_owned());
    let _daemon = yard.start();
    let connected = || yard.times_logged("listening to the broker");
    until(PATIENCE, "the daemon listens", || connected() > 0);
    let (start, mut sent) = (now() - 90 * 86_400, Sent::default());
    for round in 0..3 {
        portion(&broker, &yard, start, &mut sent);

        let before = connected();
        broker.kill();
        broker.start_again();
        until(PATIENCE, "the daemon listens after a kill", || connected() > before);
        portion(&broker, &yard, start, &mut sent);

        let before = connected();
        broker.stop();
        broker.forget_everything();
        broker.start_again();
        until(PATIENCE, "the daemon listens where nobody knows it", || connected() > before);
        portion(&broker, &yard, start, &mut sent);

        // Hung for a moment with messages on the way, which nobody notices; in the last round for longer than
        // the daemon waits.
        let before = connected();
        broker.process().signal("STOP");
        thread::sleep(Duration::from_secs(if round == 2 { 25 } else { 1 }));
        broker.process().signal("CONT");
        if round == 2 {
            until(PATIENCE, "the daemon listens after a hang", || connected() > before);
        }
        portion(&broker, &yard, start, &mut sent);
    }
    sent.assert_nothing_is_missing(
        &yard,
        "broker killed 3 times, restarted without its memory 3 times, hung 3 times",
    );
}

/// Passes on what it gets, a little at a time.
fn slow_road_to(port: u16) -> u16 {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let here = listener.local_addr().unwrap().port();
    thread::spawn(move || {
        for near in listener.incoming().map_while(Result::ok) {
            let far = TcpStream::connect(("127.0.0.1", port)).unwrap();
            for (from, to) in [(near.try_clone(), far.try_clone()), (Ok(far), Ok(near))] {
                let (from, to) = (from.unwrap(), to.unwrap());
                thread::spawn(move || crawl(&from, &to));
            }
        }
    });
    here
}

fn crawl(mut from: &TcpStream, mut to: &TcpStream) {
    let mut some = [0; 700];
    while let Ok(length @ 1..) = from.read(&mut some) {
        thread::sleep(Duration::from_millis(20));
        if to.write_all(&some[..length]).is_err() {
            break;
        }
    }
    // Either end may be gone already.
    let _ = from.shutdown(Shutdown::Both);
    let _ = to.shutdown(Shutdown::Both);
}

#[test]
fn a_slow_broker_only_takes_longer() {
    let broker = Mosquitto::start();
    let yard = Yard::new(SYSTEMS).listening_to(slow_road_to(broker.port()));
    let _daemon = yard.start();
    until(PATIENCE, "the daemon listens", || yard.times_logged("listening to the broker") > 0);
    let (start, mut sent) = (now() - 90 * 86_400, Sent::default());
    for _ in 0..2 {
        portion(&broker, &yard, start, &mut sent);
    }
    sent.assert_nothing_is_missing(&yard, "a broker at 35 kB a second");
}
