//! What we publish: our status, and whatever others hand to the publisher.

use std::time::{Duration, Instant};

use basinward::link::{LinkSettings, NotPublished, Publisher};
use support::{Listener, Mosquitto, until};

use crate::rig::{BOTH, LIMIT, Rig, settings};

const STATUS: &str = "basinward/status";

fn with_status(broker: &Mosquitto, protocol: basinward::link::Protocol) -> LinkSettings {
    LinkSettings { status_topic: Some(STATUS.into()), ..settings(broker.port(), protocol) }
}

/// Waits until the publishing connection, which comes up by itself, is there.
fn publish_when_up(rig: &Rig, publisher: &Publisher, topic: &str, payload: &'static str) {
    until(LIMIT, "the publisher is up", || {
        rig.runtime.block_on(publisher.publish(topic, payload.into(), false)).is_ok()
    });
}

#[test]
fn the_status_is_online_while_we_run_and_offline_after_an_orderly_end() {
    for protocol in BOTH {
        let broker = Mosquitto::start();
        let rig = Rig::up(&with_status(&broker, protocol));
        let mut listener = Listener::subscribe(broker.port(), STATUS);
        let online = listener.hear();
        assert!(online.payload.starts_with(r#"{"status":"online","since":"20"#), "{online:?}");
        assert!(online.payload.contains(concat!(r#""version":""#, env!("CARGO_PKG_VERSION"))), "{online:?}");
        rig.end();
        assert_eq!(listener.hear().payload, r#"{"status":"offline"}"#, "{protocol:?}");
        assert_eq!(listener.hear_within(Duration::from_millis(300)), None, "{protocol:?}: no will on top");
        let kept = Listener::subscribe(broker.port(), STATUS).hear();
        assert!(kept.retained && kept.payload.contains("offline"), "{protocol:?}: {kept:?}");
    }
}

#[test]
fn the_broker_says_offline_for_us_when_we_crash() {
    for protocol in BOTH {
        let broker = Mosquitto::start();
        let rig = Rig::up(&with_status(&broker, protocol));
        let mut listener = Listener::subscribe(broker.port(), STATUS);
        assert!(listener.hear().payload.contains("online"));
        rig.crash();
        assert_eq!(listener.hear().payload, r#"{"status":"offline"}"#, "{protocol:?}");
        let kept = Listener::subscribe(broker.port(), STATUS).hear();
        assert!(kept.retained && kept.payload.contains("offline"), "{protocol:?}: {kept:?}");
    }
}

#[test]
fn the_status_returns_after_an_outage() {
    let mut broker = Mosquitto::start();
    let _rig = Rig::up(&with_status(&broker, BOTH[0]));
    assert!(Listener::subscribe(broker.port(), STATUS).hear().payload.contains("online"));
    broker.restart();
    until(LIMIT, "the status is online again", || {
        Listener::subscribe(broker.port(), STATUS).hear().payload.contains("online")
    });
}

#[test]
fn a_publish_is_confirmed_by_the_broker_or_fails() {
    for protocol in BOTH {
        let mut broker = Mosquitto::start();
        let rig = Rig::up(&settings(broker.port(), protocol));
        let publisher = rig.link.as_ref().expect("it runs").publisher();
        publish_when_up(&rig, &publisher, "basinward/up", "x");
        let mut listener = Listener::subscribe(broker.port(), "basinward/#");
        let publish = |topic: &str| rig.runtime.block_on(publisher.publish(topic, "flooding".into(), true));
        assert_eq!(publish("basinward/alder/finding"), Ok(()));
        assert_eq!(listener.hear().payload, "flooding", "{protocol:?}");
        assert_eq!(publish("basinward/#"), Err(NotPublished::Topic));
        broker.kill();
        let outcome = publish("basinward/alder/finding");
        assert!(matches!(outcome, Err(NotPublished::Down | NotPublished::Unconfirmed)), "{outcome:?}");
        broker.start_again();
        publish_when_up(&rig, &publisher, "basinward/again", "x");
    }
}

#[test]
fn many_publishes_at_once_are_each_confirmed() {
    for protocol in BOTH {
        let broker = Mosquitto::start();
        let rig = Rig::up(&settings(broker.port(), protocol));
        let publisher = rig.link.as_ref().expect("it runs").publisher();
        publish_when_up(&rig, &publisher, "basinward/up", "x");
        let mut listener = Listener::subscribe(broker.port(), "basinward/n/#");
        rig.runtime.block_on(async {
            let all: Vec<_> = (0..1_000)
                .map(|n| {
                    let publisher = publisher.clone();
                    let topic = format!("basinward/n/{n}");
                    tokio::spawn(async move { publisher.publish(&topic, "x".into(), false).await })
                })
                .collect();
            for one in all {
                assert_eq!(one.await.expect("no panic"), Ok(()), "{protocol:?}");
            }
        });
        for _ in 0..1_000 {
            listener.hear();
        }
    }
}

#[test]
fn publishing_does_not_hold_up_acknowledgements() {
    let broker = Mosquitto::start();
    let mut rig = Rig::up(&settings(broker.port(), BOTH[0]));
    let publisher = rig.link.as_ref().expect("it runs").publisher();
    publish_when_up(&rig, &publisher, "basinward/up", "x");
    // A full window of publishes, again and again, while a batch is received and acknowledged.
    let busy = publisher.clone();
    let flood = rig.runtime.spawn(async move {
        loop {
            let some = (0..100).map(|_| busy.publish("basinward/flood", "x".into(), false));
            for one in some.collect::<Vec<_>>() {
                if one.await.is_err() {
                    // The link may be gone already, and nothing else here would ever wait.
                    tokio::task::yield_now().await;
                }
            }
        }
    });
    let sent = (0..5_000).map(|n| ("greywater/alder/quince/moisture", n.to_string()));
    assert_eq!(broker.device().publish_all(sent, 500).acknowledged, 5_000);
    let mut stored = 0;
    let began = Instant::now();
    while stored < 5_000 && began.elapsed() < LIMIT {
        let batch = rig.writer.inbox.recv_batch(500, Duration::from_millis(5));
        stored += batch.messages.len();
        rig.writer.acker.ack(batch.messages);
    }
    flood.abort();
    assert_eq!((stored, rig.counts().redelivered), (5_000, 0));
}

#[test]
fn an_end_without_a_broker_does_not_hang() {
    let mut broker = Mosquitto::start();
    let mut rig = Rig::up(&with_status(&broker, BOTH[0]));
    broker.kill();
    rig.wait_down();
    rig.end();
}
