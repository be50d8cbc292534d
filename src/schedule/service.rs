//! The running part: works everything out again when findings or records change, and several times a day.

use std::sync::Arc;
use std::time::Duration;

use tokio::sync::watch;
use tokio::task::JoinHandle;
use tokio::time::Instant;
use tracing::{debug, error};

use super::gather::{Upkeep, work_out};
use crate::clock::Clock;
use crate::ledger::{LedgerFault, Order, Orders, UpkeepStamp, View};
use crate::model::{EventTime, Span, System};
use crate::telemetry::chain;
use crate::upkeep::{Crew, Plan, Rules};

/// How often it looks whether anything has changed.
const LOOK: Duration = Duration::from_secs(2);
/// After working everything out it rests this many times as long: at most two hundredths of one processor go there.
const REST: u32 = 50;
/// Without any news it works everything out this often: doses and the calendar go on.
const ANYWAY: Span = Span::from_hours(6);

/// What the schedule is made from.
pub struct ScheduleParts {
    /// The ledger.
    pub view: View,
    /// Where orders are placed.
    pub orders: Orders,
    /// The time.
    pub clock: Clock,
    /// The systems in force.
    pub systems: watch::Receiver<Arc<Vec<Arc<System>>>>,
    /// Changes after every commit.
    pub commits: watch::Receiver<u64>,
    /// How often things are looked at.
    pub rules: Rules,
    /// Who makes the visits.
    pub crew: Crew,
}

/// Tasks and visits that are kept up to date; that stops when this is dropped.
#[derive(Debug)]
pub struct Schedule {
    task: JoinHandle<()>,
    upkeep: watch::Receiver<Arc<Upkeep>>,
}

impl Schedule {
    /// Starts.
    pub fn start(parts: ScheduleParts) -> Self {
        let (sender, upkeep) = watch::channel(Arc::new(Upkeep::default()));
        let working = Working { parts: Arc::new(parts), sender, seen: None };
        Self { task: tokio::spawn(working.run()), upkeep }
    }

    /// The tasks and visits, as they change.
    pub fn upkeep(&self) -> watch::Receiver<Arc<Upkeep>> {
        self.upkeep.clone()
    }
}

impl Drop for Schedule {
    fn drop(&mut self) {
        self.task.abort();
    }
}

/// What the last working out rested on.
#[derive(Clone, Debug, PartialEq)]
struct Seen {
    stamp: UpkeepStamp,
    /// Which stretch of [`ANYWAY`] it was.
    stretch: i64,
    systems: usize,
}

struct Working {
    parts: Arc<ScheduleParts>,
    sender: watch::Sender<Arc<Upkeep>>,
    seen: Option<(Seen, Arc<Vec<Arc<System>>>)>,
}

impl Working {
    async fn run(mut self) {
        let mut commits = self.parts.commits.clone();
        loop {
            commits.mark_unchanged();
            let begun = Instant::now();
            match self.look().await {
                Ok(true) => tokio::time::sleep(REST * begun.elapsed()).await,
                Ok(false) => {}
                Err(fault) => error!(fault = %chain(&fault), "cannot plan maintenance"),
            }
            tokio::time::sleep(LOOK).await;
            // Ends with the writer; then there is nothing more to plan either.
            if commits.changed().await.is_err() {
                return;
            }
        }
    }

    /// Works everything out if there is news; tells whether it did.
    async fn look(&mut self) -> Result<bool, LedgerFault> {
        let now = self.parts.clock.now();
        let systems = Arc::clone(&self.parts.systems.borrow());
        let parts = Arc::clone(&self.parts);
        let stamp = blocking(move || parts.view.upkeep_stamp()).await?;
        let stretch = now.millis().div_euclid(ANYWAY.millis());
        let seen = Seen { stamp, stretch, systems: systems.len() };
        if self.seen.as_ref().is_some_and(|(known, of)| *known == seen && Arc::ptr_eq(of, &systems)) {
            return Ok(false);
        }
        let (parts, of) = (Arc::clone(&self.parts), Arc::clone(&systems));
        let (before, upkeep) = blocking(move || {
            let before = parts.view.plan()?.map(|(_, plan)| plan).unwrap_or_default();
            let upkeep = work_out(&parts.view, &of, (&parts.rules, &parts.crew), &before, now)?;
            Ok((before, upkeep))
        })
        .await?;
        self.keep(&before, &upkeep.plan, now).await;
        self.sender.send_replace(Arc::new(upkeep));
        self.seen = Some((seen, systems));
        Ok(true)
    }

    async fn keep(&self, before: &Plan, plan: &Plan, made: EventTime) {
        if (&before.visits, before.next) == (&plan.visits, plan.next) {
            return;
        }
        let order = Order::Plan { made, plan: plan.clone() };
        if let Err(refused) = self.parts.orders.place(order).await {
            // It is planned again before anybody needs it.
            debug!(%refused, "the plan of visits is not kept");
        }
    }
}

async fn blocking<T: Send + 'static>(
    work: impl FnOnce() -> Result<T, LedgerFault> + Send + 'static,
) -> Result<T, LedgerFault> {
    tokio::task::spawn_blocking(work).await.expect("planning does not panic and is not aborted")
}
