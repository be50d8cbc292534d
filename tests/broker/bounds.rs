//! Every queue has a bound, and reaching it is visible.

use std::time::Duration;

use basinward::link::{LinkSettings, LinkState, Protocol};
use support::{Mosquitto, until};

use crate::rig::{BOTH, LIMIT, Rig, payloads, settings};

const TOPIC: &str = "greywater/alder/quince/moisture";

#[test]
fn a_full_inbox_leaves_the_rest_with_the_broker_and_loses_nothing() {
    for protocol in BOTH {
        let broker = Mosquitto::start(); // may have 2,000 on the way, and sends far more
        let mut rig = Rig::up(&LinkSettings { max_waiting: 100, ..settings(broker.port(), protocol) });
        // Large enough to fill the sockets' buffers as well.
        let message = |n| (TOPIC, format!("{n:06}{}", "x".repeat(2_000)));
        assert_eq!(broker.device().publish_all((0..10_000).map(message), 500).acknowledged, 10_000);
        std::thread::sleep(Duration::from_millis(300));
        let received = rig.counts().received;
        // The bound, and what one read of 64 KiB may bring beyond it.
        assert!((100..200).contains(&received), "{protocol:?}: {received}");

        let mut next = 0;
        until(LIMIT, "every message has come", || {
            rig.writer.inbox.waker().wake();
            let waiting = rig.writer.inbox.recv_batch(50, Duration::ZERO).messages;
            for message in &waiting {
                assert_eq!(message.payload[..6], *format!("{next:06}").as_bytes(), "{protocol:?}: in order");
                next += 1;
            }
            rig.writer.acker.ack(waiting);
            next == 10_000
        });
        let counts = rig.counts();
        assert_eq!((counts.reconnects, counts.redelivered, counts.stale), (0, 0, 0), "{protocol:?}");
    }
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
fn a_message_too_large_is_skipped_counted_and_does_not_come_again() {
    let broker = Mosquitto::start();
    let settings = LinkSettings { max_packet_bytes: 10_000, ..settings(broker.port(), Protocol::V311) };
    let mut rig = Rig::up(&settings);
    broker.publish(TOPIC, "before");
    broker.publish(TOPIC, vec![b'x'; 3_000_000]);
    broker.publish(TOPIC, "after");
    assert_eq!(rig.writer.store(2), ["before", "after"]);
    assert_eq!((rig.counts().oversized, rig.counts().reconnects), (1, 0));
    rig.end();

    let mut rig = Rig::up(&settings);
    broker.publish(TOPIC, "later");
    assert_eq!(rig.writer.store(1), ["later"]);
    assert_eq!(rig.counts().oversized, 0);
}

#[test]
fn an_mqtt_5_broker_leaves_a_message_too_large_out() {
    let broker = Mosquitto::start();
    let mut rig =
        Rig::up(&LinkSettings { max_packet_bytes: 10_000, ..settings(broker.port(), Protocol::V5) });
    broker.publish(TOPIC, vec![b'x'; 20_000]);
    broker.publish(TOPIC, "next");
    assert_eq!(rig.writer.store(1), ["next"]);
}
