//! The task that receives.
//!
//! ```text
//! Connecting --subscribed--> Up --fault--> Down --(pause)--+
//!                             ^--------subscribed----------+
//! ```
//!
//! It reads while the inbox has room, and always sends acknowledgements and pings. A writer that stands
//! still therefore never costs the connection, and memory stays bounded whatever the broker sends.

use std::sync::Arc;
use std::time::Duration;

use tokio::sync::{Notify, watch};
use tokio::time::Instant;
use tracing::{debug, info, warn};

use super::acker::Gate;
use super::health::{Counters, Fault, LinkState, count};
use super::inbox::Feed;
use super::message::{Message, Receipt};
use super::wire::{Arrival, Connection, Dialer, Granted, Publish};
use crate::backoff::Backoff;
use crate::clock::Clock;

/// Messages handed over at one time, at most; keeps the lock short under a flood.
const CHUNK: usize = 256;

/// How long a connection must last before its end counts as a fresh fault and the pauses start over.
const SETTLED: Duration = Duration::from_secs(10);

pub(super) struct Receiver {
    pub(super) dialer: Dialer,
    pub(super) filters: watch::Receiver<Vec<String>>,
    pub(super) gate: Arc<Gate>,
    pub(super) feed: Arc<Feed>,
    /// Asks for an orderly end.
    pub(super) leave: Arc<Notify>,
    pub(super) clock: Clock,
    pub(super) state: watch::Sender<LinkState>,
    pub(super) counters: Arc<Counters>,
    pub(super) backoff: Backoff,
}

impl Receiver {
    /// Runs until asked to leave while connected, or until aborted.
    pub(super) async fn run(mut self) {
        let mut connected_before = false;
        loop {
            let ended = self.connect_and_serve(&mut connected_before).await;
            self.gate.shut();
            match ended {
                Ok(()) => break,
                Err(fault) => self.recover(fault).await,
            }
        }
        self.state.send_replace(LinkState::Stopped);
    }

    async fn connect_and_serve(&mut self, connected_before: &mut bool) -> Result<(), Fault> {
        let (mut connection, welcome) = self.dialer.connect().await?;
        if *connected_before {
            self.note_reconnection(welcome.session_present);
        }
        *connected_before = true;
        // Even a present session is subscribed again: the broker may have been set up anew under us.
        let filters = self.filters.borrow_and_update().clone();
        connection.subscribe(&filters);
        let began = Instant::now();
        let ended = self.serve(connection, filters).await;
        if began.elapsed() >= SETTLED {
            self.backoff.reset();
        }
        ended
    }

    fn note_reconnection(&self, session_present: bool) {
        count(&self.counters.reconnects, 1);
        if !session_present {
            count(&self.counters.sessions_lost, 1);
            warn!("the broker has lost our session: messages published meanwhile are gone");
        }
    }

    /// Works one connection until it ends: by our own leave, or by a fault.
    async fn serve(&mut self, mut connection: Connection, mut filters: Vec<String>) -> Result<(), Fault> {
        let generation = self.gate.generation();
        let mut chunk = Vec::with_capacity(CHUNK);
        let mut listening = true;
        loop {
            tokio::select! {
                biased;
                () = self.gate.ready() => connection.acknowledge(self.gate.take()),
                () = self.leave.notified() => {
                    connection.acknowledge(self.gate.take());
                    return connection.leave().await;
                }
                Ok(()) = self.filters.changed() => {
                    let wanted = self.filters.borrow_and_update().clone();
                    filters.retain(|old| !wanted.contains(old));
                    connection.unsubscribe(&filters);
                    connection.subscribe(&wanted);
                    filters = wanted;
                }
                () = self.feed.room(), if !listening => listening = true,
                arrival = connection.next(listening) => {
                    let mut arrival = Some(arrival?);
                    while let Some(one) = arrival {
                        self.arrived(one, generation, &mut connection, &mut chunk)?;
                        arrival = if chunk.len() < CHUNK { connection.buffered()? } else { None };
                    }
                    count(&self.counters.shed, self.feed.push(&mut chunk));
                    listening = !self.feed.is_full();
                }
            }
        }
    }

    fn arrived(
        &self,
        arrival: Arrival,
        generation: u32,
        connection: &mut Connection,
        chunk: &mut Vec<Message>,
    ) -> Result<(), Fault> {
        match arrival {
            Arrival::Publish(publish) => chunk.push(self.message(publish, generation)),
            Arrival::Oversized { packet_id, bytes } => {
                count(&self.counters.oversized, 1);
                warn!(bytes, "skipped a message larger than we take");
                connection.acknowledge((packet_id != 0).then_some(packet_id));
            }
            Arrival::Subscribed(granted) => self.subscribed(&granted)?,
            Arrival::Welcome(_) | Arrival::Confirmed { .. } | Arrival::Other => {}
        }
        Ok(())
    }

    fn message(&self, publish: Publish, generation: u32) -> Message {
        count(&self.counters.received, 1);
        count(&self.counters.redelivered, publish.dup.into());
        let receipt = match publish.packet_id {
            0 => Receipt::None,
            packet_id => Receipt::Broker { generation, packet_id },
        };
        Message {
            topic: publish.topic,
            payload: publish.payload,
            retain: publish.retain,
            dup: publish.dup,
            received_ms: self.clock.now_ms(),
            receipt,
        }
    }

    fn subscribed(&self, granted: &Granted) -> Result<(), Fault> {
        match granted {
            Granted::Refused => return Err(Fault::SubscriptionRefused(self.filters.borrow().join(", "))),
            Granted::Unacknowledged => {
                warn!("the broker grants QoS 0 only: messages lost on the way do not come again");
            }
            Granted::Acknowledged => {}
        }
        info!(filters = self.filters.borrow().join(", "), "listening to the broker");
        self.state.send_if_modified(|state| {
            let newly = !matches!(state, LinkState::Up { .. });
            if newly {
                *state = LinkState::Up { since_ms: self.clock.now_ms() };
            }
            newly
        });
        Ok(())
    }

    /// Says what went wrong and waits before the next attempt.
    async fn recover(&mut self, fault: Fault) {
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
    }
}
