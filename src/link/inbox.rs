//! The bounded queue between the connection and the single writer thread.
//!
//! The connection must never wait (a broker cuts a client that stops answering), so it never blocks
//! here: when the writer is behind, QoS 0 messages are shed at half the bound, and acknowledged
//! ones are left to the broker at the whole of it.

use std::collections::VecDeque;
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use super::message::Message;

/// What the writer takes at one time.
#[derive(Debug, Default)]
pub struct Batch {
    /// In order of receipt. May be empty after a wake.
    pub messages: Vec<Message>,
    /// Nothing more will come: this batch is the last.
    pub closed: bool,
}

#[derive(Default)]
struct Queue {
    messages: VecDeque<Message>,
    bytes: usize,
    closed: bool,
    woken: bool,
    /// Length at which the writer wants to be roused; `None` while it is not waiting.
    rouse_at: Option<usize>,
}

struct Shared {
    queue: Mutex<Queue>,
    roused: Condvar,
    max_messages: usize,
    max_bytes: usize,
}

impl Shared {
    fn lock(&self) -> MutexGuard<'_, Queue> {
        // No code panics while it holds the lock, and the queue would be whole even then.
        self.queue.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn rouse(&self, change: impl FnOnce(&mut Queue)) {
        change(&mut self.lock());
        self.roused.notify_one();
    }
}

/// The writer's end.
pub struct Inbox {
    shared: Arc<Shared>,
}

/// The connection's end. The inbox closes when the last feed is gone.
pub(super) struct Feed {
    shared: Arc<Shared>,
}

/// Rouses the writer from anywhere, for a tick or a command.
#[derive(Clone)]
pub struct Waker {
    shared: Arc<Shared>,
}

/// What became of messages that were offered.
#[derive(Debug, Default, PartialEq, Eq)]
pub(super) struct Taken {
    /// Above QoS 0, and in the inbox now: each will be acknowledged.
    pub(super) kept: u64,
    /// QoS 0, and dropped.
    pub(super) shed: u64,
    /// Above QoS 0, and beyond the bound, or behind one that was: left unacknowledged.
    pub(super) deferred: u64,
}

pub(super) fn inbox(max_messages: usize, max_bytes: usize) -> (Feed, Inbox) {
    let shared =
        Arc::new(Shared { queue: Mutex::default(), roused: Condvar::new(), max_messages, max_bytes });
    (Feed { shared: Arc::clone(&shared) }, Inbox { shared })
}

impl Inbox {
    /// Waits for a message, then goes on collecting until there are `max` or `linger` has passed.
    /// Returns early, perhaps empty, on a wake and on closing. With no `linger`, batches still form:
    /// whatever arrived during the last commit makes up the next.
    pub fn recv_batch(&mut self, max: usize, linger: Duration) -> Batch {
        let shared = &*self.shared;
        let mut queue = shared.lock();
        while queue.messages.is_empty() && !queue.closed && !queue.woken {
            queue.rouse_at = Some(1);
            queue = shared.roused.wait(queue).unwrap_or_else(PoisonError::into_inner);
        }
        let deadline = Instant::now() + linger;
        while queue.messages.len() < max && !queue.closed && !queue.woken {
            let Some(left) = deadline.checked_duration_since(Instant::now()).filter(|d| !d.is_zero()) else {
                break;
            };
            queue.rouse_at = Some(max);
            (queue, _) = shared.roused.wait_timeout(queue, left).unwrap_or_else(PoisonError::into_inner);
        }
        queue.rouse_at = None;
        queue.woken = false;
        let taken = max.min(queue.messages.len());
        let messages: Vec<_> = queue.messages.drain(..taken).collect();
        queue.bytes -= messages.iter().map(Message::weight).sum::<usize>();
        Batch { messages, closed: queue.closed && queue.messages.is_empty() }
    }

    /// A handle to rouse the writer with.
    pub fn waker(&self) -> Waker {
        Waker { shared: Arc::clone(&self.shared) }
    }
}

impl Waker {
    /// Makes the present or the next `recv_batch` return without waiting.
    pub fn wake(&self) {
        self.shared.rouse(|queue| queue.woken = true);
    }
}

impl Feed {
    /// Takes what there is room for, in order, and empties `chunk`. After closing everything is
    /// dropped without being counted.
    pub(super) fn push(&self, chunk: &mut Vec<Message>) -> Taken {
        let mut taken = Taken::default();
        let mut queue = self.shared.lock();
        if queue.closed {
            chunk.clear();
            return taken;
        }
        for message in chunk.drain(..) {
            let room = self.has_room_for(&message, &queue);
            match (message.needs_ack(), room) {
                (true, true) if taken.deferred == 0 => taken.kept += 1,
                (true, _) => {
                    taken.deferred += 1;
                    continue;
                }
                (false, true) => {}
                (false, false) => {
                    taken.shed += 1;
                    continue;
                }
            }
            queue.bytes += message.weight();
            queue.messages.push_back(message);
        }
        if queue.rouse_at.is_some_and(|wanted| queue.messages.len() >= wanted) {
            queue.rouse_at = None;
            drop(queue);
            self.shared.roused.notify_one();
        }
        taken
    }

    /// QoS 0 may fill half of the inbox, the rest all of it. One message always fits.
    fn has_room_for(&self, message: &Message, queue: &Queue) -> bool {
        let share = if message.needs_ack() { 1 } else { 2 };
        queue.messages.is_empty()
            || queue.messages.len() < self.shared.max_messages / share
                && queue.bytes + message.weight() <= self.shared.max_bytes / share
    }

    /// The writer has worked off half of what may wait.
    pub(super) fn has_room(&self) -> bool {
        let queue = self.shared.lock();
        queue.messages.len() <= self.shared.max_messages / 2 && queue.bytes <= self.shared.max_bytes / 2
    }

    pub(super) fn is_closed(&self) -> bool {
        self.shared.lock().closed
    }

    /// No more messages; the writer still gets what is waiting.
    pub(super) fn close(&self) {
        self.shared.rouse(|queue| queue.closed = true);
    }
}

impl Drop for Feed {
    fn drop(&mut self) {
        self.close();
    }
}

#[cfg(test)]
mod tests {
    use super::super::message::Receipt;
    use super::*;
    use bytes::Bytes;

    fn message(n: u16, receipt: Receipt) -> Message {
        Message { receipt, ..Message::unreceipted(&n.to_string(), Bytes::new(), i64::from(n)) }
    }
    fn qos1(n: u16) -> Message {
        message(n, Receipt::Broker { generation: 0, packet_id: n })
    }
    fn qos0(n: u16) -> Message {
        message(n, Receipt::None)
    }
    fn order(batch: &Batch) -> Vec<i64> {
        batch.messages.iter().map(|m| m.received_ms).collect()
    }

    #[test]
    fn a_batch_keeps_the_order_and_stops_at_its_maximum() {
        let (feed, mut inbox) = inbox(100, 1 << 20);
        feed.push(&mut (1..=5).map(qos1).collect());
        assert_eq!(order(&inbox.recv_batch(3, Duration::ZERO)), [1, 2, 3]);
        assert_eq!(order(&inbox.recv_batch(3, Duration::ZERO)), [4, 5]);
    }

    fn taken(kept: u64, shed: u64, deferred: u64) -> Taken {
        Taken { kept, shed, deferred }
    }

    #[test]
    fn qos_0_is_shed_at_half_the_bound_and_qos_1_deferred_at_the_whole() {
        let (feed, _inbox) = inbox(4, 1 << 20);
        assert_eq!(feed.push(&mut (1..=3).map(qos0).collect()), taken(0, 1, 0));
        assert_eq!(feed.push(&mut (4..=5).map(qos1).collect()), taken(2, 0, 0));
        assert_eq!(feed.push(&mut vec![qos1(6), qos0(7)]), taken(0, 1, 1));
    }

    #[test]
    fn nothing_overtakes_a_deferred_message() {
        let (feed, mut inbox) = inbox(1000, 4000);
        let sized = |n, bytes| Message { payload: Bytes::from(vec![0; bytes]), ..qos1(n) };
        let mut chunk = vec![sized(1, 1500), sized(2, 3000), sized(3, 10)];
        assert_eq!(feed.push(&mut chunk), taken(1, 0, 2));
        assert_eq!(order(&inbox.recv_batch(9, Duration::ZERO)), [1]);
    }

    #[test]
    fn the_bound_counts_bytes_as_well_but_one_message_always_fits() {
        let (feed, mut inbox) = inbox(1000, 4000);
        let big = |n| Message { payload: Bytes::from(vec![0; 5000]), ..qos1(n) };
        assert_eq!(feed.push(&mut vec![big(1), big(2)]), taken(1, 0, 1));
        assert!(!feed.has_room());
        inbox.recv_batch(1, Duration::ZERO);
        assert!(feed.has_room());
        assert_eq!(feed.push(&mut vec![big(2)]), taken(1, 0, 0));
    }

    #[test]
    fn closing_hands_out_what_waits_and_then_says_so() {
        let (feed, mut inbox) = inbox(10, 1 << 20);
        feed.push(&mut vec![qos1(1), qos1(2)]);
        feed.close();
        feed.push(&mut vec![qos1(3)]);
        let first = inbox.recv_batch(1, Duration::from_mins(1));
        assert!(!first.closed);
        let last = inbox.recv_batch(10, Duration::from_mins(1));
        assert_eq!((order(&last), last.closed), (vec![2], true));
    }

    #[test]
    fn a_wake_returns_without_messages() {
        let (_feed, mut inbox) = inbox(10, 1 << 20);
        let waker = inbox.waker();
        let waiting = std::thread::spawn(move || inbox.recv_batch(10, Duration::from_mins(1)));
        waker.wake();
        let batch = waiting.join().unwrap();
        assert!(batch.messages.is_empty() && !batch.closed);
    }

    #[test]
    fn a_lingering_writer_is_roused_when_the_batch_is_full() {
        let (feed, mut inbox) = inbox(10, 1 << 20);
        let waiting = std::thread::spawn(move || inbox.recv_batch(3, Duration::from_mins(1)));
        for n in 1..=3 {
            feed.push(&mut vec![qos1(n)]);
        }
        assert_eq!(order(&waiting.join().unwrap()), [1, 2, 3]);
    }

    #[test]
    fn a_dropped_feed_closes_the_inbox() {
        let (feed, mut inbox) = inbox(10, 1 << 20);
        drop(feed);
        assert!(inbox.recv_batch(1, Duration::ZERO).closed);
    }
}
