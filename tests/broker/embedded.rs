//! The broker inside the daemon: acknowledged means stored.

use std::io::ErrorKind;
use std::net::{SocketAddr, TcpStream};
use std::time::{Duration, Instant};

use basinward::clock::Clock;
use basinward::link::{
    EmbeddedBroker, EmbeddedError, EmbeddedSettings, Fault, LinkSettings, LinkState, Login, hash_password,
    record,
};
use support::{Device, Listener, until};
use tokio::runtime::Runtime;

use crate::rig::{BOTH, LIMIT, Rig, Writer, payloads, runtime, settings};

const TOPIC: &str = "greywater/alder/quince/float";

/// Long enough to notice an acknowledgement that should not be there.
const NOTICE: Duration = Duration::from_millis(300);

struct Yard {
    broker: EmbeddedBroker,
    writer: Writer,
    runtime: Runtime,
}

impl Yard {
    fn start() -> Self {
        Self::with(&EmbeddedSettings::loopback(0))
    }

    fn with(settings: &EmbeddedSettings) -> Self {
        let runtime = runtime();
        let started = runtime.block_on(EmbeddedBroker::start(settings, Clock::wall()));
        let (broker, inbox, acker) = started.expect("starts");
        Self { broker, writer: Writer { inbox, acker }, runtime }
    }

    fn port(&self) -> u16 {
        self.broker.address().port()
    }

    fn device(&self) -> Device {
        Device::connect(self.port(), None).expect("it lets devices in")
    }
}

#[test]
fn a_device_is_acknowledged_when_its_message_is_stored_and_not_before() {
    let mut yard = Yard::start();
    let mut device = yard.device();
    let id = device.send(TOPIC, b"wet", false).expect("sent");
    let taken = yard.writer.take(1);
    assert_eq!((taken[0].topic.as_ref(), taken[0].retain), (TOPIC, false));
    let early = device.next_acknowledgement(NOTICE).expect_err("not stored yet");
    assert!(matches!(early.kind(), ErrorKind::WouldBlock | ErrorKind::TimedOut), "{early}");
    yard.writer.acker.ack(taken);
    assert_eq!(device.next_acknowledgement(LIMIT).expect("stored now"), id);
    assert_eq!(yard.broker.health().counts().acknowledged, 1);
}

#[test]
fn the_messages_of_many_devices_share_a_commit() {
    let mut yard = Yard::start();
    let mut devices: Vec<_> = (0..20).map(|_| yard.device()).collect();
    for device in &mut devices {
        device.send(TOPIC, b"dry", false).expect("sent");
    }
    let batch = yard.writer.take(20);
    yard.writer.acker.ack(batch);
    for device in &mut devices {
        device.next_acknowledgement(LIMIT).expect("stored");
    }
}

#[test]
fn a_device_with_many_messages_on_the_way_is_answered_in_order() {
    let mut yard = Yard::start();
    let port = yard.port();
    let sending = std::thread::spawn(move || {
        let mut device = Device::connect(port, None).expect("connects");
        device.publish_all((0..200).map(|n| (TOPIC, n.to_string())), 50)
    });
    let mut told = Vec::new();
    while told.len() < 200 {
        let batch = yard.writer.inbox.recv_batch(100, Duration::ZERO);
        told.extend(payloads(&batch.messages));
        yard.writer.acker.ack(batch.messages);
    }
    assert_eq!(sending.join().expect("no panic").acknowledged, 200);
    assert_eq!(told, (0..200).map(|n| n.to_string()).collect::<Vec<_>>());
}

#[test]
fn a_message_that_is_not_stored_in_time_costs_the_connection_and_may_be_sent_again() {
    let settings =
        EmbeddedSettings { store_within: Duration::from_millis(200), ..EmbeddedSettings::loopback(0) };
    let mut yard = Yard::with(&settings);
    let mut device = yard.device();
    device.send(TOPIC, b"wet", false).expect("sent");
    let held = yard.writer.take(1);
    let end = device.next_acknowledgement(LIMIT).expect_err("the connection ends instead");
    assert!(matches!(end.kind(), ErrorKind::UnexpectedEof | ErrorKind::ConnectionReset), "{end}");
    yard.writer.acker.ack(held); // too late, and harmless
    let counts = yard.broker.health().counts();
    assert_eq!((counts.refused, counts.stale, counts.acknowledged), (1, 1, 0));

    let mut device = yard.device();
    let id = device.send(TOPIC, b"wet", false).expect("sent again");
    yard.writer.store(1);
    assert_eq!(device.next_acknowledgement(LIMIT).expect("stored"), id);
}

#[test]
fn a_message_the_writer_lets_go_of_is_never_acknowledged() {
    let mut yard = Yard::start();
    let mut device = yard.device();
    device.send(TOPIC, b"wet", false).expect("sent");
    drop(yard.writer.take(1));
    let end = device.next_acknowledgement(LIMIT).expect_err("the connection ends");
    assert!(matches!(end.kind(), ErrorKind::UnexpectedEof | ErrorKind::ConnectionReset), "{end}");
}

#[test]
fn a_device_that_returns_while_its_message_waits_is_served() {
    let mut yard = Yard::start();
    let mut first = Device::connect_as("probe-7", yard.port(), None).expect("connects");
    first.send(TOPIC, b"1", false).expect("sent");
    let held = yard.writer.take(1);
    // It lost patience and came back under its name, with the same message.
    let mut second = Device::connect_as("probe-7", yard.port(), None).expect("connects");
    let id = second.send(TOPIC, b"1", false).expect("sent again");
    let again = yard.writer.take(1);
    yard.writer.acker.ack(held.into_iter().chain(again));
    assert_eq!(second.next_acknowledgement(LIMIT).expect("stored"), id);
}

#[test]
fn unacknowledged_messages_pass_and_are_shed_when_the_writer_is_behind() {
    let mut yard = Yard::with(&EmbeddedSettings { max_waiting: 100, ..EmbeddedSettings::loopback(0) });
    let mut device = yard.device();
    for n in 0..80 {
        device.publish_unacknowledged(TOPIC, n.to_string().as_bytes()).expect("sent");
    }
    until(LIMIT, "all have arrived", || yard.broker.health().counts().received == 80);
    assert_eq!(yard.broker.health().counts().shed, 30);
    assert_eq!(yard.writer.take(50).len(), 50);
}

#[test]
fn topics_of_others_pass_without_the_writer() {
    let yard = Yard::start();
    let mut listener = Listener::subscribe(yard.port(), "building/#");
    yard.device().publish("building/7/light", b"on").expect("acknowledged at once");
    assert_eq!(listener.hear().payload, "on");
    assert_eq!(yard.broker.health().counts().received, 0);
}

#[test]
fn filters_may_change_while_it_runs() {
    let mut yard = Yard::start();
    yard.broker.listen_to(vec!["building/+/soil".into()]).expect("sound filters");
    yard.device().publish(TOPIC, b"no longer ours").expect("acknowledged at once");
    let mut device = yard.device();
    device.send("building/7/soil", b"0.2", false).expect("sent");
    assert_eq!(yard.writer.store(1), ["0.2"]);
    device.next_acknowledgement(LIMIT).expect("stored");
}

#[test]
fn other_listeners_hear_a_message_once_it_is_stored() {
    let mut yard = Yard::start();
    let mut listener = Listener::subscribe(yard.port(), "greywater/#");
    let mut device = yard.device();
    device.send(TOPIC, b"wet", true).expect("sent");
    let taken = yard.writer.take(1);
    assert_eq!(listener.hear_within(NOTICE), None);
    yard.writer.acker.ack(taken);
    assert_eq!(listener.hear().payload, "wet");
    let kept = Listener::subscribe(yard.port(), TOPIC).hear();
    assert!(kept.retained, "{kept:?}");
}

#[test]
fn we_publish_from_inside_without_hearing_ourselves() {
    let yard = Yard::start();
    let mut listener = Listener::subscribe(yard.port(), "#");
    let publisher = yard.broker.publisher();
    let published =
        yard.runtime.block_on(publisher.publish("greywater/alder/finding", "flooding".into(), true));
    assert_eq!(published, Ok(()));
    assert_eq!(listener.hear().payload, "flooding");
    assert_eq!(yard.broker.health().counts().received, 0);
}

#[test]
fn a_link_can_listen_here_in_either_version() {
    for protocol in BOTH {
        let mut yard = Yard::start();
        let mut rig = Rig::up(&settings(yard.port(), protocol));
        let mut device = yard.device();
        for payload in ["a", "b"] {
            device.send(TOPIC, payload.as_bytes(), false).expect("sent");
            yard.writer.store(1);
        }
        assert_eq!(payloads(&rig.writer.take(2)), ["a", "b"]);
        rig.crash(); // unacknowledged
        let mut rig = Rig::up(&settings(yard.port(), protocol));
        assert_eq!(rig.writer.store(2), ["a", "b"], "{protocol:?}: sent again");
        rig.end();
    }
}

#[test]
fn a_link_publishes_here_in_either_version() {
    for protocol in BOTH {
        let mut yard = Yard::start();
        let rig =
            Rig::up(&LinkSettings { filters: vec!["other/#".into()], ..settings(yard.port(), protocol) });
        let publisher = rig.link.as_ref().expect("it runs").publisher();
        let sending = rig.runtime.spawn(async move {
            // The publishing connection comes up by itself.
            while publisher.publish(TOPIC, "wet".into(), false).await.is_err() {
                tokio::time::sleep(Duration::from_millis(10)).await;
            }
        });
        assert_eq!(yard.writer.store(1), ["wet"], "{protocol:?}");
        rig.runtime.block_on(sending).expect("acknowledged");
    }
}

#[test]
fn beyond_loopback_it_refuses_to_start_without_passwords() {
    let everywhere =
        EmbeddedSettings { listen: SocketAddr::from(([0, 0, 0, 0], 0)), ..EmbeddedSettings::loopback(0) };
    let refused = runtime().block_on(EmbeddedBroker::start(&everywhere, Clock::wall())).map(|_| ());
    let error = refused.expect_err("nobody may listen so");
    assert!(matches!(error, EmbeddedError::Open(_)));
    assert!(error.to_string().contains("password file"), "{error}");
}

#[test]
fn with_a_password_file_only_its_users_come_in() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("passwords");
    let hash = hash_password("rake").expect("hashes");
    std::fs::write(&file, format!("# who may report\nprobe:{hash}\n")).expect("writes");
    let mut yard = Yard::with(&EmbeddedSettings {
        listen: SocketAddr::from(([0, 0, 0, 0], 0)),
        password_file: Some(file),
        ..EmbeddedSettings::loopback(0)
    });
    let connect = |login| Device::connect(yard.port(), login);
    for wrong in [None, Some(("probe", "hoe")), Some(("nobody", "rake"))] {
        assert_eq!(connect(wrong).expect_err("refused").kind(), ErrorKind::PermissionDenied, "{wrong:?}");
    }
    let mut device = connect(Some(("probe", "rake"))).expect("comes in");
    device.send(TOPIC, b"wet", false).expect("sent");
    yard.writer.store(1);

    for protocol in BOTH {
        let login = |password: &str| Some(Login { user: "probe".into(), password: password.into() });
        let mut rig = Rig::start(&LinkSettings { login: login("hoe"), ..settings(yard.port(), protocol) });
        let down = rig.wait_down();
        assert!(matches!(down, LinkState::Down { why: Fault::LoginRefused, .. }), "{protocol:?}: {down:?}");
        drop(rig);
        Rig::up(&LinkSettings { login: login("rake"), ..settings(yard.port(), protocol) }).end();
    }
}

#[test]
fn a_port_in_use_is_named() {
    let yard = Yard::start();
    let taken = EmbeddedSettings::loopback(yard.port());
    let refused = runtime().block_on(EmbeddedBroker::start(&taken, Clock::wall())).map(|_| ());
    let error = refused.expect_err("the port is taken");
    assert!(error.to_string().contains(&format!("cannot listen on 127.0.0.1:{}", yard.port())), "{error}");
}

#[test]
fn it_ends_in_order_and_frees_the_port() {
    let mut yard = Yard::start();
    let port = yard.port();
    let mut device = yard.device();
    let id = device.send(TOPIC, b"last", false).expect("sent");
    let last = yard.writer.take(1);
    yard.broker.stop_taking();
    assert!(yard.writer.inbox.recv_batch(10, Duration::ZERO).closed);
    let mut late = yard.device();
    late.send(TOPIC, b"late", false).expect("sent");
    late.next_acknowledgement(LIMIT).expect_err("not taken, not acknowledged");
    yard.writer.acker.ack(last);
    assert_eq!(device.next_acknowledgement(LIMIT).expect("the last batch is answered"), id);
    let began = Instant::now();
    yard.runtime.block_on(yard.broker.stop());
    assert!(began.elapsed() < LIMIT);
    until(LIMIT, "the port is free", || TcpStream::connect(("127.0.0.1", port)).is_err());
    device.next_acknowledgement(LIMIT).expect_err("every client is let go");
}

#[test]
fn a_recording_can_be_made_here() {
    let mut yard = Yard::start();
    let settings = settings(yard.port(), BOTH[0]);
    let (stop, stopped) = tokio::sync::oneshot::channel::<()>();
    let recording = yard.runtime.spawn(async move {
        record(&settings, Clock::wall(), std::io::sink(), async { drop(stopped.await) }).await
    });
    let mut device = yard.device();
    // Until the recorder listens nobody hears; so publish until it has had the time.
    let deadline = Instant::now() + Duration::from_secs(1);
    while Instant::now() < deadline {
        device.send(TOPIC, b"wet", false).expect("sent");
        yard.writer.store(1);
        std::thread::sleep(Duration::from_millis(20));
    }
    stop.send(()).expect("it still records");
    let written = yard.runtime.block_on(recording).expect("no panic").expect("records");
    assert!(written > 0);
}
