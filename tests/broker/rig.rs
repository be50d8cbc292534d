//! A link with its writer's side in the hands of the test.

use std::ops::Deref;
use std::time::{Duration, Instant};

use basinward::clock::Clock;
use basinward::link::{Acker, Health, Inbox, Link, LinkSettings, LinkState, Message, Protocol};
use tokio::runtime::Runtime;

/// Generous: it bounds a failure, not a success.
pub(crate) const LIMIT: Duration = Duration::from_secs(20);

/// Both versions, for tests that hold for either.
pub(crate) const BOTH: [Protocol; 2] = [Protocol::V311, Protocol::V5];

/// Settings for a broker on loopback that reconnect fast.
pub(crate) fn settings(port: u16, protocol: Protocol) -> LinkSettings {
    LinkSettings {
        protocol,
        connect_timeout_s: 2,
        first_pause: Duration::from_millis(50),
        longest_pause: Duration::from_millis(200),
        ..LinkSettings::new("127.0.0.1", port, "yard")
    }
}

pub(crate) fn runtime() -> Runtime {
    tokio::runtime::Builder::new_multi_thread().worker_threads(2).enable_all().build().expect("a runtime")
}

/// The writer's side of a link or an embedded broker.
pub(crate) struct Writer {
    pub(crate) inbox: Inbox,
    pub(crate) acker: Acker,
}

impl Writer {
    /// Takes exactly `wanted` messages.
    pub(crate) fn take(&mut self, wanted: usize) -> Vec<Message> {
        let taken = self.take_until(LIMIT, |taken| taken.len() >= wanted);
        assert_eq!(taken.len(), wanted, "messages within {LIMIT:?}");
        taken
    }

    /// Takes whatever arrives within `span`.
    pub(crate) fn take_for(&mut self, span: Duration) -> Vec<Message> {
        self.take_until(span, |_| false)
    }

    /// Takes until `enough` or until `limit` has passed.
    pub(crate) fn take_until(
        &mut self,
        limit: Duration,
        mut enough: impl FnMut(&[Message]) -> bool,
    ) -> Vec<Message> {
        let deadline = Instant::now() + limit;
        let waker = self.inbox.waker();
        let (done, is_done) = std::sync::mpsc::channel::<()>();
        let rouser = std::thread::spawn(move || {
            while is_done.recv_timeout(Duration::from_millis(20)).is_err() {
                waker.wake();
            }
        });
        let mut taken = Vec::new();
        while !enough(&taken) && Instant::now() < deadline {
            let batch = self.inbox.recv_batch(10_000, Duration::ZERO);
            taken.extend(batch.messages);
            if batch.closed {
                break;
            }
        }
        done.send(()).expect("the rouser waits for this");
        rouser.join().expect("the rouser ends");
        taken
    }

    /// Takes `wanted` messages and acknowledges them.
    pub(crate) fn store(&mut self, wanted: usize) -> Vec<String> {
        let taken = self.take(wanted);
        let told = payloads(&taken);
        self.acker.ack(taken);
        told
    }
}

/// Payloads as text, in order.
pub(crate) fn payloads(messages: &[Message]) -> Vec<String> {
    messages.iter().map(|m| String::from_utf8_lossy(&m.payload).into_owned()).collect()
}

/// A running link.
pub(crate) struct Rig {
    pub(crate) writer: Writer,
    pub(crate) health: Health,
    pub(crate) link: Option<Link>,
    pub(crate) runtime: Runtime,
}

impl Rig {
    /// Starts a link; it may or may not get through.
    pub(crate) fn start(settings: &LinkSettings) -> Self {
        let runtime = runtime();
        let started = runtime.block_on(async { Link::start(settings, Clock::wall()) });
        let (link, inbox, acker) = started.expect("sound settings");
        let health = link.health();
        Self { writer: Writer { inbox, acker }, health, link: Some(link), runtime }
    }

    /// Starts a link and waits until it listens.
    pub(crate) fn up(settings: &LinkSettings) -> Self {
        let mut rig = Self::start(settings);
        rig.wait_up();
        rig
    }

    pub(crate) fn wait_up(&mut self) {
        self.wait_for(|state| matches!(state, LinkState::Up { .. }));
    }

    pub(crate) fn wait_down(&mut self) -> LinkState {
        self.wait_for(|state| matches!(state, LinkState::Down { .. }))
    }

    /// Waits for a state and returns it.
    pub(crate) fn wait_for(&mut self, wanted: impl FnMut(&LinkState) -> bool) -> LinkState {
        let last = self.health.clone();
        let reached =
            self.runtime.block_on(async { tokio::time::timeout(LIMIT, self.health.wait_for(wanted)).await });
        reached.unwrap_or_else(|_| panic!("still {:?} after {LIMIT:?}", last.state()))
    }

    /// Ends in order.
    pub(crate) fn end(mut self) {
        let link = self.link.take().expect("it runs");
        self.runtime.block_on(link.disconnect());
    }

    /// Ends as a crash would: sockets close without a word.
    pub(crate) fn crash(self) {
        self.runtime.shutdown_background();
    }
}

impl Deref for Rig {
    type Target = Health;

    fn deref(&self) -> &Health {
        &self.health
    }
}
