//! Brokers that go away, forget, hang, or are slow to be listened to.

use std::collections::BTreeSet;
use std::time::Duration;

use basinward::link::{Fault, LinkSettings, LinkState, Protocol};
use support::{Mosquitto, Scripted};

use crate::rig::{BOTH, Rig, payloads, settings};

/// First bytes of what a client sends.
const CONNECT: u8 = 0x10;
const SUBSCRIBE: u8 = 0x82;

const TOPIC: &str = "greywater/alder/quince/float";

fn why(state: &LinkState) -> Option<&Fault> {
    match state {
        LinkState::Down { why, .. } => Some(why),
        LinkState::Connecting | LinkState::Up { .. } | LinkState::Stopped => None,
    }
}

#[test]
fn a_restarted_broker_finds_the_session_and_old_acknowledgements_do_no_harm() {
    for protocol in BOTH {
        let mut broker = Mosquitto::start();
        let settings = settings(broker.port(), protocol);
        let mut rig = Rig::up(&settings);
        for payload in ["a", "b", "c"] {
            broker.publish(TOPIC, payload);
        }
        let before = rig.writer.take(3);
        broker.stop();
        rig.wait_down();
        broker.start_again();
        rig.wait_up();
        let again = rig.writer.take(3);
        assert_eq!(payloads(&again), ["a", "b", "c"], "{protocol:?}");

        // The new connection may use the very packet ids of the old one. Acknowledging the old
        // messages now must not make the broker forget the new ones.
        rig.writer.acker.ack(before);
        let counts = rig.counts();
        assert_eq!((counts.stale, counts.acknowledged), (3, 0), "{protocol:?}");
        assert_eq!((counts.reconnects, counts.sessions_lost), (1, 0), "{protocol:?}");
        rig.end();

        let mut rig = Rig::up(&settings);
        assert_eq!(rig.writer.store(3), ["a", "b", "c"], "{protocol:?}: never acknowledged");
    }
}

#[test]
fn a_broker_that_forgot_the_session_is_subscribed_anew_and_the_loss_is_counted() {
    for protocol in BOTH {
        let mut broker = Mosquitto::start();
        let mut rig = Rig::up(&settings(broker.port(), protocol));
        broker.stop();
        rig.wait_down();
        broker.forget_everything();
        broker.start_again();
        rig.wait_up();
        assert_eq!(rig.counts().sessions_lost, 1, "{protocol:?}");
        broker.publish(TOPIC, "after");
        assert_eq!(rig.writer.store(1), ["after"], "{protocol:?}");
    }
}

#[test]
fn a_broker_that_is_not_there_yet_is_waited_for() {
    let mut broker = Mosquitto::start();
    broker.kill();
    let mut rig = Rig::start(&settings(broker.port(), Protocol::V311));
    assert!(matches!(why(&rig.wait_down()), Some(Fault::Unreachable(_))));
    broker.start_again();
    rig.wait_up();
    assert_eq!(rig.counts().reconnects, 0, "the first connection is none again");
}

#[test]
fn a_killed_broker_is_reported_with_the_time_it_went() {
    for protocol in BOTH {
        let mut broker = Mosquitto::start();
        let mut rig = Rig::up(&settings(broker.port(), protocol));
        let LinkState::Up { since_ms: up_ms } = rig.state() else { panic!("it is up") };
        broker.kill();
        let down = rig.wait_down();
        assert_eq!(why(&down), Some(&Fault::Closed), "{protocol:?}");
        // Later attempts find nobody listening; the time stays that of the loss.
        let later = rig.wait_for(|state| matches!(why(state), Some(Fault::Unreachable(_))));
        let since = |state: &LinkState| match state {
            LinkState::Down { since_ms, .. } => *since_ms,
            LinkState::Connecting | LinkState::Up { .. } | LinkState::Stopped => panic!("it is down"),
        };
        assert_eq!(since(&down), since(&later));
        assert!(since(&down) >= up_ms);
    }
}

#[test]
fn a_busy_writer_does_not_cost_an_mqtt_3_connection() {
    a_busy_writer_does_not_cost_the_connection(Protocol::V311);
}

#[test]
fn a_busy_writer_does_not_cost_an_mqtt_5_connection() {
    a_busy_writer_does_not_cost_the_connection(Protocol::V5);
}

fn a_busy_writer_does_not_cost_the_connection(protocol: Protocol) {
    let broker = Mosquitto::start();
    // A broker gives a client up after one and a half keep-alives without a word. The inbox is so small
    // that the connection reads nothing for two of them.
    let settings = LinkSettings { keep_alive_s: 5, max_waiting: 10, ..settings(broker.port(), protocol) };
    let mut rig = Rig::up(&settings);
    let sent: Vec<_> = (0..5_000).map(|n| format!("{n} {}", "x".repeat(1_000))).collect();
    let progress = broker.device().publish_all(sent.iter().map(|n| (TOPIC, n)), 500);
    assert_eq!(progress.acknowledged, 5_000);
    std::thread::sleep(Duration::from_secs(11));
    assert!(matches!(rig.state(), LinkState::Up { .. }), "{:?}", rig.state());
    assert!(rig.counts().received < 500, "{:?}", rig.counts());

    let mut told = Vec::new();
    while told.len() < sent.len() {
        let batch = rig.writer.inbox.recv_batch(500, Duration::from_millis(5));
        told.extend(payloads(&batch.messages));
        rig.writer.acker.ack(batch.messages);
    }
    assert!(told == sent, "all, once, in order");
    assert_eq!((rig.counts().reconnects, rig.counts().redelivered), (0, 0));
}

#[test]
fn a_hanging_mqtt_3_broker_is_noticed_by_the_missing_pings() {
    a_hanging_broker_is_noticed_by_the_missing_pings(Protocol::V311);
}

#[test]
fn a_hanging_mqtt_5_broker_is_noticed_by_the_missing_pings() {
    a_hanging_broker_is_noticed_by_the_missing_pings(Protocol::V5);
}

fn a_hanging_broker_is_noticed_by_the_missing_pings(protocol: Protocol) {
    let broker = Mosquitto::start();
    let settings =
        LinkSettings { keep_alive_s: 5, connect_timeout_s: 1, ..settings(broker.port(), protocol) };
    let mut rig = Rig::up(&settings);
    broker.publish(TOPIC, "before");
    let held = rig.writer.take(1);
    broker.process().signal("STOP");
    assert_eq!(why(&rig.wait_down()), Some(&Fault::NoAnswer));
    broker.process().signal("CONT");
    rig.wait_up();
    rig.writer.acker.ack(held);
    broker.publish(TOPIC, "after");
    let told: BTreeSet<_> = rig.writer.store(2).into_iter().collect();
    assert_eq!(told, BTreeSet::from(["before".into(), "after".into()]));
}

#[test]
fn a_second_user_of_our_client_id_is_named_as_the_cause() {
    // DISCONNECT with reason 0x8E, session taken over (MQTT 5, table 3-10), which may end there or with
    // an empty list of properties (section 3.14.2.2.1). Mosquitto 2.0.11 closes without either.
    for parting in [&[0xE0, 1, 0x8E][..], &[0xE0, 2, 0x8E, 0]] {
        let broker = Scripted::new(&[(CONNECT, &[0x20, 3, 0, 0, 0]), (SUBSCRIBE, parting)]);
        let mut rig = Rig::start(&settings(broker.port(), Protocol::V5));
        assert_eq!(why(&rig.wait_down()), Some(&Fault::TakenOver));
    }
}

#[test]
fn a_refused_subscription_is_named_with_its_filter() {
    // SUBACK for packet 1 with 0x80, failure (MQTT 3.1.1, section 3.9.3).
    let broker = Scripted::new(&[(CONNECT, &[0x20, 2, 0, 0]), (SUBSCRIBE, &[0x90, 3, 0, 1, 0x80])]);
    let mut rig = Rig::start(&settings(broker.port(), Protocol::V311));
    assert_eq!(why(&rig.wait_down()), Some(&Fault::SubscriptionRefused("greywater/#".into())));
}

#[test]
fn a_broker_that_only_speaks_the_older_version_is_named() {
    // CONNACK in the format of 3.1.1 with 1, unacceptable protocol version (MQTT 3.1.1, table 3.1).
    let broker = Scripted::new(&[(CONNECT, &[0x20, 2, 0, 1])]);
    let mut rig = Rig::start(&settings(broker.port(), Protocol::V5));
    assert_eq!(why(&rig.wait_down()), Some(&Fault::Refused("it does not speak MQTT 5".into())));
}

#[test]
fn a_service_that_is_no_broker_is_named() {
    let service = Scripted::new(&[(CONNECT, b"HTTP/1.1 400 Bad Request\r\n\r\n")]);
    for protocol in BOTH {
        let mut rig = Rig::start(&settings(service.port(), protocol));
        assert!(matches!(why(&rig.wait_down()), Some(Fault::Protocol(_) | Fault::NoAnswer)), "{protocol:?}");
    }
}
