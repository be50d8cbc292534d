//! Every queue has a bound, and reaching it is visible.

use std::collections::BTreeSet;
use std::time::Duration;

use basinward::link::{Fault, LinkSettings, LinkState, Protocol};
use support::{Mosquitto, until};

use crate::rig::{BOTH, LIMIT, Rig, payloads, settings};

const TOPIC: &str = "greywater/alder/quince/moisture";

#[test]
fn a_broker_that_sends_past_the_bound_is_served_in_portions() {
    for protocol in BOTH {
        let broker = Mosquitto::start(); // may have 2,000 on the way
        let mut rig = Rig::up(&LinkSettings { max_waiting: 100, ..settings(broker.port(), protocol) });
        let sent = (0..1_000).map(|n| (TOPIC, n.to_string()));
        assert_eq!(broker.device().publish_all(sent, 1_000).acknowledged, 1_000);
        until(LIMIT, "the surplus is left lying", || rig.counts().deferred > 0);
        std::thread::sleep(Duration::from_millis(300)); // several pauses long
        assert_eq!(rig.counts().reconnects, 0, "{protocol:?}: first what we hold must be acknowledged");

        let mut told = BTreeSet::new();
        until(LIMIT, "every message has come", || {
            rig.writer.inbox.waker().wake();
            let waiting = rig.writer.inbox.recv_batch(10_000, Duration::ZERO).messages;
            assert!(waiting.len() <= 100, "{} waited", waiting.len());
            told.extend(payloads(&waiting));
            rig.writer.acker.ack(waiting);
            told.len() == 1_000
        });
        assert!(rig.counts().reconnects >= 1);
    }
}

#[test]
fn a_broker_that_sends_past_the_bound_is_named() {
    let broker = Mosquitto::start();
    let mut rig = Rig::up(&LinkSettings { max_waiting: 100, ..settings(broker.port(), Protocol::V311) });
    let sent = (0..1_000).map(|n| (TOPIC, n.to_string()));
    assert_eq!(broker.device().publish_all(sent, 1_000).acknowledged, 1_000);
    rig.writer.store(100);
    let down = rig.wait_down();
    assert!(matches!(down, LinkState::Down { why: Fault::Overrun, .. }), "{down:?}");
}

#[test]
fn an_mqtt_5_broker_is_asked_for_a_window() {
    let broker = Mosquitto::start();
    let mut rig =
        Rig::up(&LinkSettings { inflight: 50, max_waiting: 200, ..settings(broker.port(), Protocol::V5) });
    let sent = (0..1_000).map(|n| (TOPIC, n.to_string()));
    assert_eq!(broker.device().publish_all(sent, 1_000).acknowledged, 1_000);
    let held = rig.writer.take_for(Duration::from_secs(1));
    assert_eq!(held.len(), 50);
    rig.writer.acker.ack(held);
    assert!(!rig.writer.take_for(Duration::from_secs(1)).is_empty(), "and goes on once we acknowledge");
    assert!(matches!(rig.state(), LinkState::Up { .. }));
}

#[test]
fn unacknowledged_messages_are_shed_at_half_the_bound_and_counted() {
    for protocol in BOTH {
        let broker = Mosquitto::start();
        let mut rig = Rig::up(&LinkSettings { max_waiting: 100, ..settings(broker.port(), protocol) });
        let mut device = broker.device();
        for n in 0..200 {
            device.publish_unacknowledged(TOPIC, n.to_string().as_bytes()).expect("sent");
        }
        until(LIMIT, "all have arrived", || rig.counts().received == 200);
        until(LIMIT, "the surplus is shed", || rig.counts().shed == 150);
        let kept = rig.writer.take(50);
        assert_eq!(payloads(&kept).last().map(String::as_str), Some("49"), "{protocol:?}");
        assert!(matches!(rig.state(), LinkState::Up { .. }), "{protocol:?}");
    }
}

#[test]
fn a_packet_beyond_the_limit_is_named() {
    let broker = Mosquitto::start();
    let mut rig =
        Rig::up(&LinkSettings { max_packet_bytes: 10_000, ..settings(broker.port(), Protocol::V311) });
    broker.publish(TOPIC, vec![b'x'; 20_000]);
    let down = rig.wait_down();
    assert!(matches!(down, LinkState::Down { why: Fault::PacketTooLarge(20_000..), .. }), "{down:?}");
}

#[test]
fn an_mqtt_5_broker_leaves_a_packet_beyond_the_limit_out() {
    let broker = Mosquitto::start();
    let mut rig =
        Rig::up(&LinkSettings { max_packet_bytes: 10_000, ..settings(broker.port(), Protocol::V5) });
    broker.publish(TOPIC, vec![b'x'; 20_000]);
    broker.publish(TOPIC, "next");
    assert_eq!(rig.writer.store(1), ["next"]);
}
