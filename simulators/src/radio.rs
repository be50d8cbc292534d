//! The way from a device to the subscriber: loss, delay, repeats, outages of the gateway.

use std::cmp::Reverse;
use std::collections::{BTreeMap, BinaryHeap};

use serde::Deserialize;

use crate::rng::Rng;
use crate::sensor::{Ailment, Habits, Outgoing, Trouble};
use crate::span::Span;

const MONTH_MS: f64 = Span::days(30).ms() as f64;

/// A message as the subscriber receives it.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Message {
    /// When it arrives (Unix ms).
    pub received_ms: i64,
    /// Its topic.
    pub topic: String,
    /// Its payload.
    pub payload: Vec<u8>,
    /// The broker keeps it and sends it again to whoever connects.
    pub retain: bool,
}

/// How good the link is: the `[radio]` table of a scenario.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct RadioProfile {
    /// Fraction of messages lost. (default 0.002)
    pub loss: f64,
    /// Mean delay. (default 2s)
    pub delay: Span,
    /// Fraction of messages that come late, and so out of order. (default 0.002)
    pub late: f64,
    /// Mean lateness of those. (default 10min)
    pub late_by: Span,
    /// Fraction of messages that come twice. (default 0.002)
    pub duplicate: f64,
    /// Devices publish retained messages. (default false)
    pub retain: bool,
    /// Times in 30 days that the subscriber connects anew and hears all retained messages again. (default 0)
    pub reconnects: f64,
    /// Largest error of a device's clock after its daily setting. (default 2s)
    pub clock_error: Span,
    /// Largest deviation of a sample from its schedule. (default 10s)
    pub jitter: Span,
    /// Restarts of a device in a year. (default 2)
    pub reboots_per_year: f64,
}

impl Default for RadioProfile {
    fn default() -> Self {
        Self {
            loss: 0.002,
            delay: Span::seconds(2),
            late: 0.002,
            late_by: Span::minutes(10),
            duplicate: 0.002,
            retain: false,
            reconnects: 0.0,
            clock_error: Span::seconds(2),
            jitter: Span::seconds(10),
            reboots_per_year: 2.0,
        }
    }
}

impl RadioProfile {
    /// The part of it that concerns the devices.
    pub fn habits(&self) -> Habits {
        Habits { clock_error: self.clock_error, jitter: self.jitter, reboots_per_year: self.reboots_per_year }
    }
}

/// One system's link, with the messages under way.
#[derive(Debug, Clone)]
pub struct Radio {
    profile: RadioProfile,
    outages: Vec<Outage>,
    under_way: BinaryHeap<Reverse<(i64, u64, Message)>>,
    carried: u64,
    retained: BTreeMap<String, Vec<u8>>,
    next_reconnect_ms: i64,
    rng: Rng,
}

#[derive(Debug, Clone)]
struct Outage {
    from_ms: i64,
    until_ms: i64,
    stored: bool,
    /// Messages that wait for its end.
    kept: i64,
}

impl Radio {
    /// The link of the system called `system`.
    pub fn new(profile: &RadioProfile, troubles: &[Trouble], system: &str, start_ms: i64, seed: u64) -> Self {
        let mut radio = Self {
            profile: profile.clone(),
            outages: troubles.iter().filter_map(|trouble| outage(trouble, start_ms)).collect(),
            under_way: BinaryHeap::new(),
            carried: 0,
            retained: BTreeMap::new(),
            next_reconnect_ms: i64::MAX,
            rng: Rng::stream(seed, &format!("radio {system}"), 0),
        };
        radio.next_reconnect_ms = radio.draw_reconnect(start_ms);
        radio
    }

    /// Takes a message from a device.
    pub fn carry(&mut self, sent: Outgoing) {
        if self.rng.chance(self.profile.loss) {
            return;
        }
        let mut received_ms = sent.sent_ms + self.rng.exponential(self.profile.delay.ms() as f64) as i64;
        if self.rng.chance(self.profile.late) {
            received_ms += self.rng.exponential(self.profile.late_by.ms() as f64) as i64;
        }
        let hidden = |outage: &&mut Outage| (outage.from_ms..outage.until_ms).contains(&received_ms);
        if let Some(outage) = self.outages.iter_mut().find(hidden) {
            if !(outage.stored && sent.timed) {
                return;
            }
            // The gateway empties its store in order, some twenty messages a second.
            received_ms = outage.until_ms + 50 * outage.kept;
            outage.kept += 1;
        }
        let message =
            Message { received_ms, topic: sent.topic, payload: sent.payload, retain: self.profile.retain };
        if self.rng.chance(self.profile.duplicate) {
            let again_ms = received_ms + 1 + self.rng.exponential(20_000.0) as i64;
            self.launch(Message { received_ms: again_ms, ..message.clone() });
        }
        self.launch(message);
    }

    /// Appends what arrives up to and including `until_ms`, in order of arrival.
    pub fn arrivals(&mut self, until_ms: i64, out: &mut Vec<Message>) {
        loop {
            let next_ms = self.under_way.peek().map_or(i64::MAX, |Reverse((at, _, _))| *at);
            if self.next_reconnect_ms.min(next_ms) > until_ms {
                return;
            }
            if self.next_reconnect_ms < next_ms {
                self.repeat_retained(out);
            } else if let Some(Reverse((_, _, message))) = self.under_way.pop() {
                if message.retain {
                    self.retained.insert(message.topic.clone(), message.payload.clone());
                }
                out.push(message);
            }
        }
    }

    fn repeat_retained(&mut self, out: &mut Vec<Message>) {
        let received_ms = self.next_reconnect_ms;
        out.extend(self.retained.iter().map(|(topic, payload)| Message {
            received_ms,
            topic: topic.clone(),
            payload: payload.clone(),
            retain: true,
        }));
        self.next_reconnect_ms = self.draw_reconnect(received_ms);
    }

    fn launch(&mut self, message: Message) {
        self.carried += 1;
        self.under_way.push(Reverse((message.received_ms, self.carried, message)));
    }

    fn draw_reconnect(&mut self, after_ms: i64) -> i64 {
        if self.profile.reconnects <= 0.0 {
            return i64::MAX;
        }
        after_ms + 1 + self.rng.exponential(MONTH_MS / self.profile.reconnects) as i64
    }
}

fn outage(trouble: &Trouble, start_ms: i64) -> Option<Outage> {
    if let Ailment::GatewayOut { stored } = trouble.kind {
        let (from_ms, until_ms) = (trouble.from_ms(start_ms), trouble.until_ms(start_ms));
        Some(Outage { from_ms, until_ms, stored, kept: 0 })
    } else {
        None
    }
}
