//! At least once: nothing acknowledged comes again, everything else does.

use basinward::link::LinkSettings;
use support::Mosquitto;

use crate::rig::{BOTH, Rig, payloads, settings};
use std::time::Duration;

const TOPIC: &str = "greywater/alder/quince/moisture";

fn publish(broker: &Mosquitto, numbers: std::ops::Range<usize>) {
    let messages = numbers.map(|n| (TOPIC, n.to_string()));
    assert!(broker.device().publish_all(messages, 100).ended_by.is_none());
}

#[test]
fn what_is_not_acknowledged_comes_again_and_what_is_does_not() {
    for protocol in BOTH {
        let broker = Mosquitto::start();
        let settings = settings(broker.port(), protocol);
        let mut rig = Rig::up(&settings);
        publish(&broker, 0..10);
        let taken = rig.writer.take(10);
        assert_eq!(taken[0].topic.as_ref(), TOPIC);
        assert!(!taken[0].retain && taken[0].received_ms > 1_700_000_000_000);
        rig.writer.acker.ack(taken.into_iter().take(4));
        // Acknowledgements travel; an orderly end waits for them.
        rig.end();

        let mut rig = Rig::up(&settings);
        let again = rig.writer.take(6);
        assert_eq!(payloads(&again), ["4", "5", "6", "7", "8", "9"], "{protocol:?}");
        assert_eq!(rig.counts().redelivered, 6, "{protocol:?}");
        rig.writer.acker.ack(again);
        rig.end();

        let mut rig = Rig::up(&settings);
        publish(&broker, 10..11);
        assert_eq!(rig.writer.store(1), ["10"], "{protocol:?}");
    }
}

#[test]
fn a_crash_before_the_commit_loses_nothing() {
    for protocol in BOTH {
        let broker = Mosquitto::start();
        let settings = settings(broker.port(), protocol);
        let mut rig = Rig::up(&settings);
        publish(&broker, 0..300);
        rig.writer.take(300);
        rig.crash();
        publish(&broker, 300..310); // while nobody listens

        let mut rig = Rig::up(&settings);
        let told = rig.writer.store(310);
        assert_eq!(told, (0..310).map(|n| n.to_string()).collect::<Vec<_>>(), "{protocol:?}: order kept");
    }
}

#[test]
fn a_long_queue_is_taken_in_one_connection() {
    for protocol in BOTH {
        let broker = Mosquitto::start();
        let settings = settings(broker.port(), protocol);
        Rig::up(&settings).end();
        publish(&broker, 0..20_000);
        let mut rig = Rig::start(&settings);
        let mut told = Vec::new();
        while told.len() < 20_000 {
            let batch = rig.writer.inbox.recv_batch(1_000, Duration::from_millis(20));
            told.extend(batch.messages.iter().map(|m| payloads(std::slice::from_ref(m)).remove(0)));
            rig.writer.acker.ack(batch.messages);
        }
        assert!(told.iter().enumerate().all(|(n, payload)| *payload == n.to_string()), "{protocol:?}");
        assert_eq!((rig.counts().reconnects, rig.counts().stale), (0, 0), "{protocol:?}");
        rig.end();
    }
}

#[test]
fn the_last_batch_is_acknowledged_on_the_way_out() {
    for protocol in BOTH {
        let broker = Mosquitto::start();
        let settings = settings(broker.port(), protocol);
        let mut rig = Rig::up(&settings);
        publish(&broker, 0..500);
        let before = rig.writer.take(500);
        rig.link.as_ref().expect("it runs").stop_taking();
        publish(&broker, 500..510); // too late: stays with the broker
        assert!(rig.writer.inbox.recv_batch(100, Duration::ZERO).closed);
        rig.writer.acker.ack(before);
        rig.end();

        let mut rig = Rig::up(&settings);
        let told = rig.writer.store(10);
        assert_eq!(told, (500..510).map(|n| n.to_string()).collect::<Vec<_>>(), "{protocol:?}");
    }
}

#[test]
fn a_retained_message_is_marked_as_old() {
    for protocol in BOTH {
        let broker = Mosquitto::start();
        broker.device().publish_retained(TOPIC, b"0.31").expect("acknowledged");
        let mut rig = Rig::up(&settings(broker.port(), protocol));
        let old = rig.writer.take(1);
        assert!(old[0].retain, "{protocol:?}");
        rig.writer.acker.ack(old);
        broker.device().publish_retained(TOPIC, b"0.32").expect("acknowledged");
        assert!(!rig.writer.take(1)[0].retain, "{protocol:?}: published now, so it is news");
    }
}

#[test]
fn several_filters_are_heard() {
    let broker = Mosquitto::start();
    let filters = vec!["greywater/#".into(), "building/+/soil".into()];
    let mut rig = Rig::up(&LinkSettings { filters, ..settings(broker.port(), BOTH[0]) });
    broker.publish("building/7/soil", "a");
    broker.publish("building/7/light", "not ours");
    broker.publish(TOPIC, "b");
    assert_eq!(rig.writer.store(2), ["a", "b"]);
}

#[test]
fn filters_may_change_while_we_listen() {
    for protocol in BOTH {
        let broker = Mosquitto::start();
        let mut rig = Rig::up(&settings(broker.port(), protocol));
        let link = rig.link.as_ref().expect("it runs");
        link.listen_to(vec!["building/+/soil".into(), "greywater/birch/#".into()]).expect("sound filters");
        link.listen_to(vec!["building/#/soil".into()]).expect_err("no filter, and no change");
        support::until(crate::rig::LIMIT, "the new filter is heard", || {
            broker.publish("building/7/soil", "new");
            rig.counts().received > 0
        });
        rig.writer.take_for(Duration::from_millis(100));
        broker.publish(TOPIC, "no longer ours");
        broker.publish("greywater/birch/meter", "ours");
        let heard = rig.writer.take_for(Duration::from_millis(300));
        assert_eq!(payloads(&heard), ["ours"], "{protocol:?}");
    }
}
