//! The way of an order from whoever asks to the writer, and of the answer back.

use std::fmt;
use std::sync::Arc;
use std::sync::mpsc::{Receiver, SyncSender, TrySendError, sync_channel};

use tokio::sync::oneshot;

use super::{Answer, Order, Refused};

/// Orders that may wait for the writer.
const WAITING: usize = 1024;

/// An order on its way, with the way back for its answer.
#[derive(Debug)]
pub struct Asked {
    /// What is asked.
    pub order: Order,
    answer: oneshot::Sender<Answer>,
}

/// Where orders are placed; clone it for everyone who may ask.
#[derive(Clone)]
pub struct Orders {
    queue: SyncSender<Asked>,
    wake: Arc<dyn Fn() + Send + Sync>,
}

/// The writer's end.
#[derive(Debug)]
pub struct OrderQueue {
    queue: Receiver<Asked>,
}

impl Orders {
    /// Both ends. `wake` rouses the writer.
    pub fn new(wake: impl Fn() + Send + Sync + 'static) -> (Self, OrderQueue) {
        let (sender, receiver) = sync_channel(WAITING);
        (Self { queue: sender, wake: Arc::new(wake) }, OrderQueue { queue: receiver })
    }

    /// Asks for `order` and waits until it is on the disk.
    ///
    /// # Errors
    /// It was not carried out, or the daemon is ending or overloaded.
    pub async fn place(&self, order: Order) -> Answer {
        let (answer, answered) = oneshot::channel();
        self.queue.try_send(Asked { order, answer }).map_err(|error| match error {
            TrySendError::Full(_) => {
                Refused("too much is waiting to be stored: try again in a moment".to_owned())
            }
            TrySendError::Disconnected(_) => ending(),
        })?;
        (self.wake)();
        answered.await.unwrap_or_else(|_| Err(ending()))
    }
}

fn ending() -> Refused {
    Refused("the daemon is ending: try again when it is back".to_owned())
}

impl OrderQueue {
    /// What waits now, oldest first.
    pub fn waiting(&self) -> impl Iterator<Item = Asked> {
        self.queue.try_iter().take(WAITING)
    }
}

impl Asked {
    /// Answers; nobody may be waiting any more.
    pub fn answer(self, answer: Answer) {
        let _ = self.answer.send(answer);
    }
}

impl fmt::Debug for Orders {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Orders").finish_non_exhaustive()
    }
}
