//! The daemon between a start and a crash: everything of it but threads and connections.

use std::path::Path;
use std::pin::Pin;
use std::sync::Arc;
use std::task::{Context, Poll, Waker};

use basinward::ledger::{Answer, Ledger, LedgerFault, Order, OrderQueue, Orders, RetentionPolicy, View};
use basinward::link::Message;
use basinward::model::{EventTime, System};
use basinward::run::{Rounds, Steward};
use tempfile::TempDir;

use crate::broker::Published;
use crate::disk::Image;

pub(crate) const PREFIX: &str = "greywater";
/// As large as a ledger may become while there is room.
const ROOM: u64 = 1 << 40;

/// A message that was handed to the daemon, on which connection.
#[derive(Clone, Debug)]
pub(crate) struct Handed {
    pub(crate) connection: u32,
    pub(crate) received: EventTime,
    pub(crate) message: Published,
}

/// An order on its way, and what somebody wants to do with its answer.
struct Placed<T> {
    what: T,
    answer: Pin<Box<dyn Future<Output = Answer>>>,
}

pub(crate) struct Daemon<T> {
    rounds: Rounds,
    pub(crate) view: View,
    orders: Orders,
    queue: OrderQueue,
    placed: Vec<Placed<T>>,
    /// Taken in and not stored yet.
    handed: Vec<Handed>,
    folder: TempDir,
}

/// What a commit gave back.
pub(crate) struct Kept {
    pub(crate) handed: Vec<Handed>,
    pub(crate) seq: Option<u64>,
}

impl<T> Daemon<T> {
    /// Starts on what the folder holds.
    pub(crate) fn start(folder: TempDir, systems: &[Arc<System>]) -> Self {
        let ledger = Ledger::open(folder.path()).expect("whatever a crash leaves can be opened");
        let steward = Steward::open(ledger, systems, PREFIX).expect("engines come back");
        let view = View::open(folder.path()).expect("the ledger can be read");
        let (orders, queue) = Orders::new(|| ());
        // Short, so that a run of a few days packs and deletes too.
        let retention = RetentionPolicy { journal_days: 1, ..RetentionPolicy::default() };
        let rounds = Rounds::new(steward, retention);
        Self { rounds, view, orders, queue, placed: Vec::new(), handed: Vec::new(), folder }
    }

    pub(crate) fn folder(&self) -> &Path {
        self.folder.path()
    }

    /// Takes in messages and what was ordered; whether the engines were told the time.
    pub(crate) fn take(&mut self, now: EventTime, handed: Vec<Handed>) -> bool {
        let message = |handed: &Handed| {
            let Published { topic, payload, .. } = &handed.message;
            Message::unreceipted(topic, payload.clone().into(), handed.received.millis())
        };
        let messages = handed.iter().map(message).collect();
        self.handed.extend(handed);
        self.rounds.take(now, messages, self.queue.waiting())
    }

    /// Stores; what may be acknowledged then.
    pub(crate) fn store(&mut self) -> Result<Kept, LedgerFault> {
        let stored = self.rounds.store()?;
        let given = self.handed.drain(..stored.messages.len()).collect::<Vec<_>>();
        for (given, message) in given.iter().zip(&stored.messages) {
            assert_eq!(*given.message.topic, *message.topic, "messages come back in order");
        }
        Ok(Kept { handed: given, seq: stored.seq })
    }

    /// Places an order; [`Daemon::answers`] gives back `what` once it is answered.
    pub(crate) fn order(&mut self, what: T, order: Order) {
        let orders = self.orders.clone();
        let mut answer: Pin<Box<dyn Future<Output = Answer>>> =
            Box::pin(async move { orders.place(order).await });
        if let Poll::Ready(refused) = poll(&mut answer) {
            panic!("an order was not even taken: {refused:?}");
        }
        self.placed.push(Placed { what, answer });
    }

    /// What was answered by now.
    pub(crate) fn answers(&mut self) -> Vec<(T, Answer)> {
        let (mut answered, mut waiting) = (Vec::new(), Vec::new());
        for mut placed in self.placed.drain(..) {
            match poll(&mut placed.answer) {
                Poll::Ready(answer) => answered.push((placed.what, answer)),
                Poll::Pending => waiting.push(placed),
            }
        }
        self.placed = waiting;
        answered
    }

    pub(crate) fn is_waiting(&self) -> bool {
        !self.placed.is_empty() || !self.handed.is_empty()
    }

    pub(crate) fn keep_house(&mut self, now: EventTime) -> Result<(), LedgerFault> {
        self.rounds.keep_house(now).map(drop)
    }

    pub(crate) fn last_commit(&mut self) -> u64 {
        self.rounds.ledger().last_commit()
    }

    /// Whether commit `seq` put something into the journal.
    pub(crate) fn has_journal_of(&self, seq: u64) -> bool {
        self.view.readings_since(seq - 1, 1).expect("the ledger can be read").seq == seq
    }

    /// Leaves the disk so much room beyond what the ledger takes already, or all that one could want.
    pub(crate) fn let_room(&mut self, room: Option<u64>) {
        let now = std::fs::metadata(self.folder().join("ledger.db")).map_or(0, |file| file.len());
        self.rounds.ledger().bound(room.map_or(ROOM, |room| now + room)).expect("the ledger can be read");
    }

    /// Is killed, and leaves `image`, or what it had written.
    pub(crate) fn crash(self, image: Option<Image>) -> TempDir {
        let image = image.unwrap_or_else(|| Image::of(self.folder()));
        image.put_down()
    }
}

fn poll(answer: &mut Pin<Box<dyn Future<Output = Answer>>>) -> Poll<Answer> {
    answer.as_mut().poll(&mut Context::from_waker(Waker::noop()))
}
