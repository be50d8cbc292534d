//! The bounded queue between the connection and the single writer thread.
//!
//! The connection never waits here: it has pings and acknowledgements to send. When the writer is
//! behind, QoS 0 messages are shed at half the bound, and at the whole of it the connection stops
//! reading, which makes the broker hold the rest.

use std::collections::VecDeque;
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use tokio::sync::Notify;

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

impl Queue {
    fn put(&mut self, message: Message) {
        if !self.closed {
            self.bytes += message.weight();
            self.messages.push_back(message);
        }
    }
}

struct Shared {
    queue: Mutex<Queue>,
    roused: Condvar,
    /// The writer took something.
    taken: Notify,
    max_messages: usize,
    max_bytes: usize,
}

impl Shared {
    fn lock(&self) -> MutexGuard<'_, Queue> {
        // No code panics while it holds the lock, and the queue would be whole even then.
        self.queue.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Rouses the writer only once there is what it waits for: each rousing is a system call.
    fn rouse_if_due(&self, mut queue: MutexGuard<'_, Queue>) {
        if queue.rouse_at.is_some_and(|wanted| queue.messages.len() >= wanted) {
            queue.rouse_at = None;
            drop(queue);
            self.roused.notify_one();
        }
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

/// There was no room; the message was not taken.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct Full;

pub(super) fn inbox(max_messages: usize, max_bytes: usize) -> (Feed, Inbox) {
    let shared = Arc::new(Shared {
        queue: Mutex::default(),
        roused: Condvar::new(),
        taken: Notify::new(),
        max_messages,
        max_bytes,
    });
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
        let closed = queue.closed && queue.messages.is_empty();
        drop(queue);
        shared.taken.notify_one();
        Batch { messages, closed }
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
    /// Takes a connection's messages in order and empties `chunk`; returns how many QoS 0 ones were
    /// shed. The others are taken even beyond the bound: a connection stops reading there, and has only
    /// the rest of its last read to bring. After closing everything is dropped unacknowledged.
    pub(super) fn push(&self, chunk: &mut Vec<Message>) -> u64 {
        let mut shed = 0;
        let mut queue = self.shared.lock();
        for message in chunk.drain(..) {
            if message.needs_ack() || self.has_room_for(&message, &queue) {
                queue.put(message);
            } else {
                shed += 1;
            }
        }
        self.shared.rouse_if_due(queue);
        shed
    }

    /// Takes one message if there is room for it.
    pub(super) fn offer(&self, message: Message) -> Result<(), Full> {
        let mut queue = self.shared.lock();
        if queue.closed || !self.has_room_for(&message, &queue) {
            return Err(Full);
        }
        queue.put(message);
        self.shared.rouse_if_due(queue);
        Ok(())
    }

    /// QoS 0 may fill half of the inbox, the rest all of it. One message always fits.
    fn has_room_for(&self, message: &Message, queue: &Queue) -> bool {
        let share = if message.needs_ack() { 1 } else { 2 };
        queue.messages.is_empty()
            || queue.messages.len() < self.shared.max_messages / share
                && queue.bytes + message.weight() <= self.shared.max_bytes / share
    }

    /// The bound is reached: a connection should stop reading.
    pub(super) fn is_full(&self) -> bool {
        let queue = self.shared.lock();
        queue.messages.len() >= self.shared.max_messages || queue.bytes >= self.shared.max_bytes
    }

    /// Waits until the writer has worked off half of what may wait. For one waiter only.
    pub(super) async fn room(&self) {
        loop {
            let taken = self.shared.taken.notified();
            {
                let queue = self.shared.lock();
                let half = (self.shared.max_messages / 2, self.shared.max_bytes / 2);
                if queue.messages.len() <= half.0 && queue.bytes <= half.1 {
                    return;
                }
            }
            taken.await;
        }
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

    #[test]
    fn qos_0_is_shed_at_half_the_bound_and_qos_1_fills_the_whole() {
        let (feed, _inbox) = inbox(4, 1 << 20);
        assert_eq!(feed.push(&mut (1..=3).map(qos0).collect()), 1);
        assert!(!feed.is_full());
        assert_eq!(feed.push(&mut (4..=5).map(qos1).collect()), 0);
        assert!(feed.is_full());
        assert_eq!(feed.offer(qos1(6)), Err(Full));
        assert_eq!(feed.offer(qos0(7)), Err(Full));
    }

    #[test]
    fn a_connection_may_bring_the_rest_of_its_last_read() {
        let (feed, mut inbox) = inbox(2, 1 << 20);
        assert_eq!(feed.push(&mut (1..=5).map(qos1).collect()), 0);
        assert_eq!(order(&inbox.recv_batch(9, Duration::ZERO)), [1, 2, 3, 4, 5]);
    }

    #[test]
    fn the_bound_counts_bytes_as_well_but_one_message_always_fits() {
        let (feed, mut inbox) = inbox(1000, 4000);
        let big = |n| Message { payload: Bytes::from(vec![0; 5000]), ..qos1(n) };
        assert_eq!(feed.offer(big(1)), Ok(()));
        assert!(feed.is_full());
        assert_eq!(feed.offer(big(2)), Err(Full));
        inbox.recv_batch(1, Duration::ZERO);
        assert_eq!(feed.offer(big(2)), Ok(()));
    }

    #[tokio::test]
    async fn room_is_when_half_is_worked_off() {
        let (feed, mut inbox) = inbox(4, 1 << 20);
        feed.push(&mut (1..=4).map(qos1).collect());
        let mut waiting = std::pin::pin!(feed.room());
        assert!(still_waits(waiting.as_mut()).await);
        inbox.recv_batch(1, Duration::ZERO);
        assert!(still_waits(waiting.as_mut()).await, "three of four are left");
        inbox.recv_batch(1, Duration::ZERO);
        waiting.await;
    }

    /// Whether a future is still waiting after it had its chance.
    async fn still_waits(future: std::pin::Pin<&mut impl Future<Output = ()>>) -> bool {
        tokio::time::timeout(Duration::from_millis(20), future).await.is_err()
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
