//! The task that receives: it polls the connection and does nothing else that could make it wait.
//!
//! ```text
//! Connecting --subscribed--> Up --fault--> Down --pause, then as soon as the writer has room--+
//!                             ^------------------------subscribed----------------------------+
//! ```
//!
//! A broker that outruns our bound is not cut off at once: the acknowledgements of what we hold would
//! be lost, and the same messages would come again for ever. The rest is left lying until they are out.

use std::sync::Arc;
use std::time::Duration;

use tokio::sync::watch;
use tokio::time::Instant;
use tracing::{debug, info, warn};

use super::acker::Gate;
use super::backoff::Backoff;
use super::health::{Counters, Fault, LinkState, count};
use super::inbox::Feed;
use super::message::{Message, Receipt};
use super::wire::{Arrival, Client, Connection, Granted, Publish};
use crate::clock::Clock;

/// Messages handed over at one time, at most; keeps the lock short under a flood.
const CHUNK: usize = 64;

/// How long a connection must last before its end counts as a fresh fault and the pauses start over.
const SETTLED: Duration = Duration::from_secs(10);

pub(super) struct Receiver {
    pub(super) connection: Connection,
    pub(super) client: Client,
    pub(super) filters: Vec<String>,
    pub(super) gate: Arc<Gate>,
    pub(super) feed: Arc<Feed>,
    pub(super) clock: Clock,
    pub(super) state: watch::Sender<LinkState>,
    pub(super) counters: Arc<Counters>,
    pub(super) backoff: Backoff,
}

/// What one connection has seen so far.
#[derive(Default)]
struct Progress {
    up_since: Option<Instant>,
    chunk: Vec<Message>,
    generation: u32,
    /// Messages handed to the writer that await an acknowledgement.
    held: u64,
    /// The bound was reached: nothing more is taken on this connection.
    overrun: bool,
}

impl Receiver {
    /// Runs until we disconnect on purpose.
    pub(super) async fn run(mut self) {
        let mut connected_before = false;
        loop {
            let mut progress = Progress { generation: self.gate.generation(), ..Progress::default() };
            let ended = self.serve(&mut progress, &mut connected_before).await;
            // In this order: after the gate is shut no acknowledgement can follow those that
            // `discard` throws away.
            self.gate.shut();
            self.connection.discard();
            match ended {
                Ok(()) => break,
                Err(fault) => self.recover(fault, progress.up_since).await,
            }
        }
        self.state.send_replace(LinkState::Stopped);
    }

    /// Works one connection until it ends: by our own farewell, or by a fault.
    async fn serve(&mut self, progress: &mut Progress, connected_before: &mut bool) -> Result<(), Fault> {
        loop {
            match self.connection.poll().await? {
                Arrival::Connected { session_present } => {
                    self.connected(session_present, *connected_before)?;
                    *connected_before = true;
                }
                Arrival::Subscribed(granted) => {
                    self.subscribed(&granted)?;
                    progress.up_since = Some(Instant::now());
                }
                Arrival::Publish(publish) => self.take(publish, progress),
                Arrival::Acknowledged => progress.held = progress.held.saturating_sub(1),
                Arrival::Disconnecting => return Ok(()),
                Arrival::Sent(_) | Arrival::Confirmed { .. } | Arrival::Other => {}
            }
            if progress.chunk.len() >= CHUNK || self.connection.is_drained() {
                self.hand_over(progress);
            }
            if progress.overrun && progress.held == 0 {
                return Err(Fault::Overrun);
            }
        }
    }

    fn connected(&self, session_present: bool, connected_before: bool) -> Result<(), Fault> {
        if connected_before {
            count(&self.counters.reconnects, 1);
            if !session_present {
                count(&self.counters.sessions_lost, 1);
                warn!("the broker has lost our session: messages published meanwhile are gone");
            }
        }
        // Even a present session is subscribed again: the broker may have been set up anew under us.
        self.client.subscribe(&self.filters).map_err(|_| Fault::Closed)
    }

    fn subscribed(&self, granted: &Granted) -> Result<(), Fault> {
        match granted {
            Granted::Refused => return Err(Fault::SubscriptionRefused(self.filters.join(", "))),
            Granted::Unacknowledged => {
                warn!("the broker grants QoS 0 only: messages lost on the way do not come again");
            }
            Granted::Acknowledged => {}
        }
        info!(filters = self.filters.join(", "), "listening to the broker");
        self.state.send_replace(LinkState::Up { since_ms: self.clock.now_ms() });
        Ok(())
    }

    fn take(&self, publish: Publish, progress: &mut Progress) {
        count(&self.counters.received, 1);
        count(&self.counters.redelivered, u64::from(publish.dup));
        if progress.overrun {
            let lost = if publish.packet_id == 0 { &self.counters.shed } else { &self.counters.deferred };
            return count(lost, 1);
        }
        let receipt = match publish.packet_id {
            0 => Receipt::None,
            packet_id => Receipt::Broker { generation: progress.generation, packet_id },
        };
        progress.chunk.push(Message {
            topic: publish.topic,
            payload: publish.payload,
            retain: publish.retain,
            dup: publish.dup,
            received_ms: self.clock.now_ms(),
            receipt,
        });
    }

    fn hand_over(&self, progress: &mut Progress) {
        if progress.chunk.is_empty() {
            return;
        }
        let taken = self.feed.push(&mut progress.chunk);
        progress.held += taken.kept;
        count(&self.counters.shed, taken.shed);
        count(&self.counters.deferred, taken.deferred);
        if taken.deferred > 0 {
            warn!(held = progress.held, "the broker sends more than we may hold; the rest must wait");
            progress.overrun = true;
        }
    }

    /// Says what went wrong and waits before the next attempt.
    async fn recover(&mut self, fault: Fault, up_since: Option<Instant>) {
        if up_since.is_some_and(|since| since.elapsed() >= SETTLED) {
            self.backoff.reset();
        }
        let pause = self.backoff.pause();
        let known = matches!(&*self.state.borrow(), LinkState::Down { why, .. } if *why == fault);
        if known {
            debug!(%fault, pause_s = pause.as_secs_f64(), "still no connection to the broker");
        } else {
            warn!(%fault, pause_s = pause.as_secs_f64(), "no connection to the broker; trying again");
        }
        self.state.send_modify(|state| {
            let since_ms = match *state {
                LinkState::Down { since_ms, .. } => since_ms,
                LinkState::Connecting | LinkState::Up { .. } | LinkState::Stopped => self.clock.now_ms(),
            };
            *state = LinkState::Down { since_ms, why: fault };
        });
        tokio::time::sleep(pause).await;
        while !self.feed.has_room() {
            tokio::time::sleep(Duration::from_millis(50)).await;
        }
    }
}
