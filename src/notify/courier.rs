//! Carries messages until they are confirmed or given up.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;
use std::time::Duration;

use tokio::sync::Notify;
use tokio::task::JoinSet;
use tracing::{debug, error, info, warn};

use super::channels::{Carriers, Delivery, Trouble};
use crate::clock::Clock;
use crate::ledger::{LedgerFault, NoticeOrder, Order, Orders, Outcome, View, WaitingDelivery};
use crate::model::{EventTime, Span};
use crate::telemetry::chain;

/// Messages under way by one channel at once.
const AT_ONCE: usize = 4;
/// First pause after a failure; it doubles with each further one.
const FIRST_PAUSE: Span = Span::from_secs(2);
/// Longest pause between two tries.
const LONGEST_PAUSE: Span = Span::from_mins(15);
/// Longest pause that the other side may ask for.
const LONGEST_ASKED: Span = Span::from_hours(1);

/// Carries what waits in the ledger.
pub(super) struct Courier {
    pub(super) view: View,
    pub(super) orders: Orders,
    pub(super) clock: Clock,
    pub(super) carriers: Arc<Carriers>,
    pub(super) give_up_after: Span,
    /// Told when something new waits.
    pub(super) woken: Arc<Notify>,
}

/// What a try came to.
type Tried = (WaitingDelivery, Result<(), Trouble>);

impl Courier {
    /// Works until dropped.
    pub(super) async fn run(self) {
        self.give_up_removed().await;
        let mut under_way: BTreeMap<u64, String> = BTreeMap::new();
        let mut tries: JoinSet<Tried> = JoinSet::new();
        loop {
            if let Err(fault) = self.start(&mut under_way, &mut tries).await {
                error!(fault = %chain(&fault), "cannot read what has to be sent");
            }
            tokio::select! {
                Some(tried) = tries.join_next() => {
                    let (delivery, result) = tried.expect("sending does not panic and is not aborted");
                    self.settle(&delivery, result).await;
                    under_way.remove(&delivery.no);
                }
                () = self.woken.notified() => {}
                () = tokio::time::sleep(Duration::from_millis(500)) => {}
            }
        }
    }

    /// Starts what is due, as far as each channel has room.
    async fn start(
        &self,
        under_way: &mut BTreeMap<u64, String>,
        tries: &mut JoinSet<Tried>,
    ) -> Result<(), LedgerFault> {
        for name in self.carriers.names() {
            let busy = under_way.values().filter(|channel| *channel == name).count();
            if busy >= AT_ONCE {
                continue;
            }
            let (view, channel, now) = (self.view.clone(), name.to_owned(), self.clock.now());
            let due = tokio::task::spawn_blocking(move || view.deliveries_due(&channel, now, 2 * AT_ONCE))
                .await
                .expect("reading does not panic and is not aborted")?;
            let fresh = due.into_iter().filter(|delivery| !under_way.contains_key(&delivery.no));
            for delivery in fresh.take(AT_ONCE - busy).collect::<Vec<_>>() {
                under_way.insert(delivery.no, delivery.channel.clone());
                let carriers = Arc::clone(&self.carriers);
                let now = self.clock.now();
                tries.spawn(async move {
                    let result = carry(&carriers, &delivery, now).await;
                    (delivery, result)
                });
            }
        }
        Ok(())
    }

    /// Notes what came of a try, for as long as it takes: what is not noted is sent again.
    async fn settle(&self, delivery: &WaitingDelivery, result: Result<(), Trouble>) {
        let now = self.clock.now();
        let outcome = outcome(delivery, result, now, self.give_up_after);
        report(delivery, &outcome);
        loop {
            let order = NoticeOrder::Tried { at: now, delivery: delivery.no, outcome: outcome.clone() };
            match self.orders.place(Order::Notice(order)).await {
                Ok(_) => return,
                // Settled already, or the daemon ends: then the ledger still has it, and it is tried again.
                Err(refused) if refused.0.contains("settled") || refused.0.contains("ending") => return,
                Err(refused) => {
                    debug!(%refused, "what came of a message has to wait");
                    tokio::time::sleep(Duration::from_millis(200)).await;
                }
            }
        }
    }

    /// Gives up what waits for channels that the settings do not have any more.
    async fn give_up_removed(&self) {
        let view = self.view.clone();
        let known: BTreeSet<String> = self.carriers.names().map(str::to_owned).collect();
        let now = self.clock.now();
        let waiting = tokio::task::spawn_blocking(move || {
            let mut removed = Vec::new();
            for channel in view.channels_waited_for()?.into_iter().filter(|channel| !known.contains(channel))
            {
                removed.extend(view.deliveries_due(&channel, EventTime::MAX, usize::MAX >> 1)?);
            }
            Ok::<_, LedgerFault>(removed)
        });
        let Ok(Ok(removed)) = waiting.await else { return };
        for delivery in removed {
            let trouble = format!("the settings have no channel `{}` any more", delivery.channel);
            let outcome = Outcome::Dead { trouble };
            let order = NoticeOrder::Tried { at: now, delivery: delivery.no, outcome };
            // Refused only if the daemon ends; then it is looked at again at the next start.
            let _ = self.orders.place(Order::Notice(order)).await;
        }
    }
}

/// What a try that ended at `now` comes to: given up once the next one would be more than `give_up_after` late.
pub fn outcome(
    delivery: &WaitingDelivery,
    result: Result<(), Trouble>,
    now: EventTime,
    give_up_after: Span,
) -> Outcome {
    let Err(trouble) = result else { return Outcome::Confirmed };
    let asked = trouble.not_before.map(|pause| pause.min(LONGEST_ASKED));
    let next_at = now + asked.unwrap_or_default().max(pause(delivery.no, delivery.tries));
    if next_at - delivery.at > give_up_after {
        return Outcome::Dead { trouble: trouble.says };
    }
    Outcome::Failed { trouble: trouble.says, next_at }
}

fn report(delivery: &WaitingDelivery, outcome: &Outcome) {
    let (channel, recipient) = (&delivery.channel, &delivery.recipient);
    match outcome {
        Outcome::Confirmed => info!(channel, recipient, "message delivered"),
        Outcome::Failed { trouble, .. } => {
            warn!(channel, recipient, trouble, "a message could not be delivered; it is tried again");
        }
        Outcome::Dead { trouble } => {
            error!(channel, recipient, trouble, "a message is given up: see `basinward notify`");
        }
    }
}

async fn carry(carriers: &Carriers, waiting: &WaitingDelivery, now: EventTime) -> Result<(), Trouble> {
    let body = serde_json::from_str(&waiting.body)
        .map_err(|error| Trouble::new(format!("what is stored of the message cannot be read: {error}")))?;
    let delivery = Delivery { no: waiting.no, recipient: waiting.recipient.clone(), at: waiting.at, body };
    carriers.carry(&waiting.channel, &delivery, now).await
}

/// The pause after `tries` failures before this one: doubling, and between half and the whole of the step, so that
/// what failed together does not return together.
fn pause(delivery: u64, tries: u32) -> Span {
    let step = FIRST_PAUSE.scaled(2_f64.powi(tries.min(20) as i32));
    let step = step.min(LONGEST_PAUSE);
    // Any two neighbours get different fractions: multiples of the golden ratio (Knuth, volume 3, section 6.4).
    let fraction = ((delivery + u64::from(tries)) as f64 * 0.618_033_988_749_894_9).fract();
    step.scaled(0.5 + 0.5 * fraction)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pauses_double_up_to_a_quarter_of_an_hour_and_differ_between_messages() {
        for tries in 0..12 {
            let step = FIRST_PAUSE.scaled(2_f64.powi(tries)).min(LONGEST_PAUSE);
            let pause = pause(5, tries.unsigned_abs());
            assert!(step.scaled(0.5) <= pause && pause <= step, "{tries}: {pause}");
        }
        assert_ne!(pause(1, 9), pause(2, 9));
    }
}
