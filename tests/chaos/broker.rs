//! A broker with one persistent session at QoS 1, by MQTT 3.1.1, section 4.4: what is not acknowledged on a
//! connection is sent again on the next, in order. The way to it delays, repeats and reorders.

use std::collections::{BTreeSet, VecDeque};

use basinward::model::{EventTime, Span};

use crate::chance::Chance;
use crate::yards::Said;

/// One message, told from every other by its number.
#[derive(Clone, Debug)]
pub(crate) struct Published {
    pub(crate) no: usize,
    pub(crate) said: Said,
    pub(crate) topic: String,
    pub(crate) payload: String,
    /// The payload says when it was measured.
    pub(crate) is_dated: bool,
}

/// How unkind the way is; each from 0 to 1.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Way {
    pub(crate) delays: f64,
    pub(crate) repeats: f64,
    pub(crate) reorders: f64,
}

pub(crate) struct Broker {
    /// On their way to the broker, by when they arrive there.
    under_way: Vec<(EventTime, Published)>,
    queue: VecDeque<Published>,
    /// Sent on this connection and not acknowledged.
    sent: Vec<Published>,
    pub(crate) acknowledged: BTreeSet<usize>,
    way: Way,
    chance: Chance,
}

impl Broker {
    pub(crate) fn new(story: Vec<Said>, way: Way, mut chance: Chance) -> Self {
        let mut under_way: Vec<_> = story
            .into_iter()
            .enumerate()
            .map(|(no, said)| {
                let late = chance.happens(0.2 * way.delays);
                let most = if late { 8 * 3600 } else { 40 };
                (said.at + Span::from_secs(chance.between(0, most)), published(no, said, &mut chance))
            })
            .collect();
        under_way.sort_by_key(|(at, message)| (*at, message.no));
        under_way.reverse();
        Self {
            under_way,
            queue: VecDeque::new(),
            sent: Vec::new(),
            acknowledged: BTreeSet::new(),
            way,
            chance,
        }
    }

    /// Takes in what arrives until `now`.
    pub(crate) fn take_until(&mut self, now: EventTime) {
        while self.under_way.last().is_some_and(|(at, _)| *at <= now) {
            let (_, message) = self.under_way.pop().expect("there is a last one");
            if self.chance.happens(0.1 * self.way.repeats) {
                self.queue.push_back(message.clone());
            }
            self.queue.push_back(message);
        }
    }

    /// Sends up to `most` messages.
    pub(crate) fn send(&mut self, most: usize) -> Vec<Published> {
        let mut sent: Vec<_> = (0..most).map_while(|_| self.queue.pop_front()).collect();
        if self.chance.happens(self.way.reorders) {
            for i in 1..sent.len() {
                let other = self.chance.below(i + 1);
                sent.swap(i, other);
            }
        }
        self.sent.extend(sent.iter().cloned());
        sent
    }

    pub(crate) fn acknowledge(&mut self, no: usize) {
        // Of two copies under way, one is settled by each acknowledgement.
        let at = self.sent.iter().position(|sent| sent.no == no).expect("only what was sent is acknowledged");
        self.sent.remove(at);
        self.acknowledged.insert(no);
    }

    /// The connection is gone, and the next one begins with what was not acknowledged.
    pub(crate) fn lose_connection(&mut self) {
        for message in self.sent.drain(..).rev() {
            self.queue.push_front(message);
        }
    }

    pub(crate) fn is_empty(&self) -> bool {
        self.under_way.is_empty() && self.queue.is_empty() && self.sent.is_empty()
    }
}

fn published(no: usize, said: Said, chance: &mut Chance) -> Published {
    let topic = format!("greywater/{}/{}", said.system, said.sensor);
    let (value, at) = (said.value, said.at);
    let (payload, is_dated) = match chance.below(10) {
        0 => (value.to_string(), false),
        1..=5 => (format!("{{\"value\":{value},\"time\":\"{at}\"}}"), true),
        _ => {
            let (field, told) = if said.sensor.ends_with("float") || said.sensor.ends_with("overflow") {
                ("vb", (value > 0.5).to_string())
            } else {
                ("v", value.to_string())
            };
            let unit = if said.sensor.ends_with("moisture") { ",\"u\":\"/\"" } else { "" };
            let t = at.millis() as f64 / 1000.0;
            (format!("[{{\"t\":{t},\"{field}\":{told}{unit}}}]"), true)
        }
    };
    Published { no, said, topic, payload, is_dated }
}
